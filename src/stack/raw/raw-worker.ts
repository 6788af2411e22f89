import { parentPort, workerData } from 'node:worker_threads';
import { fillFrom, openRegularFile } from '../regular-file.js';
import { cropUpright } from './crop-upright.js';
import type { LibRawFile, LibRawSetup } from './libraw.js';
import { measureLevels } from './measure-levels.js';
import type { DevelopedPixels, RawFailure, RawJob, RawPreview, RawReply } from './raw-jobs.js';

/** What the script of LibRaw makes. */
interface LibRawModule {
  LibRaw: new () => LibRawFile;
}

/** Larger files are no photographs of a camera. */
const maxFileBytes = 2 ** 30;
const pageBytes = 65_536;

const { script, module } = workerData as LibRawSetup;
const port = parentPort!;

// Its own memory, so that the text of an exception can be read from it; as large as LibRaw itself would make it.
const memory = new WebAssembly.Memory({
  initial: 2 ** 28 / pageBytes,
  maximum: 2 ** 31 / pageBytes,
  shared: true,
});
/** What LibRaw reports beside its exceptions, such as an unexpected end of the file. */
let reports: string[] = [];
const make = ((await import(script)) as { default: (options: object) => Promise<LibRawModule> }).default;
const { LibRaw } = await make({
  wasmMemory: memory,
  instantiateWasm(
    imports: Record<string, Record<string, unknown>>,
    done: (instance: WebAssembly.Instance, of: WebAssembly.Module) => void,
  ) {
    void WebAssembly.instantiate(module, imports).then((instance) => done(instance, module));
    return {};
  },
  print: () => undefined,
  printErr: (line: string) => void reports.push(line),
});

port.on('message', (job: RawJob) => {
  void answer(job).then(
    ({ value, moved }) => port.postMessage({ answer: value } satisfies RawReply, moved),
    (error: unknown) => port.postMessage({ failure: failureOf(error) } satisfies RawReply),
  );
});
port.postMessage('ready');

async function answer(job: RawJob): Promise<{ value: unknown; moved: ArrayBuffer[] }> {
  reports = [];
  const bytes = await readWhole(job.path);
  // A new one for every file: settings outlive the file that they were given for.
  const file = new LibRaw();
  try {
    if (job.kind === 'identify') {
      file.open(bytes);
      return { value: file.metadata(true), moved: [] };
    }
    if (job.kind === 'preview') return previewOf(file, bytes);
    if (job.kind === 'levels') return { value: measureLevels(file, bytes), moved: [] };
    file.open(bytes, job.settings);
    const { flip } = file.metadata(false);
    const { width, height, colors, data } = file.imageData();
    const fault = reports.map(dataFault).find((text) => text !== undefined);
    if (fault !== undefined) throw new Error(fault);
    const whole: DevelopedPixels = { width, height, channels: colors === 1 ? 1 : 3, samples: data };
    const value = cropUpright(whole, job.crop, flip);
    return { value, moved: [value.samples.buffer as ArrayBuffer] };
  } finally {
    try {
      file.delete();
    } catch {
      // After a failure that says more.
    }
  }
}

/** What LibRaw reports of samples that it could not read; it then goes on with what it has. */
function dataFault(report: string): string | undefined {
  return /^unknown file: (unexpected end of file|data corrupted at .*)/i.exec(report)?.[1].toLowerCase();
}

function previewOf(
  file: LibRawFile,
  bytes: Uint8Array,
): { value: RawPreview | undefined; moved: ArrayBuffer[] } {
  file.open(bytes);
  const { flip } = file.metadata(false);
  const found = file.thumbnailData();
  if (!found || (found.format !== 'jpeg' && found.format !== 'bitmap'))
    return { value: undefined, moved: [] };
  const { width, height, format } = found;
  const data = Uint8Array.from(found.data);
  return { value: { format, width, height, data, flip }, moved: [data.buffer] };
}

async function readWhole(path: string): Promise<Uint8Array> {
  const handle = await openRegularFile(path);
  try {
    const { size } = await handle.stat();
    if (size > maxFileBytes) throw new Error(`it is larger than ${maxFileBytes / 1e6} MB`);
    const bytes = new Uint8Array(size);
    return bytes.subarray(0, await fillFrom(handle, 0, bytes));
  } finally {
    await handle.close();
  }
}

/** What LibRaw throws within itself (LibRaw_exceptions of libraw_types.h), by number. */
const thrownWords: Readonly<Record<number, string>> = {
  1: 'out of memory',
  2: 'its samples cannot be decoded',
  3: 'its samples cannot be decoded',
  4: 'unexpected end of file',
  5: 'its data are corrupt',
  8: 'its format is not supported',
  9: 'its samples cannot be decoded',
  10: 'out of memory',
  11: 'its data are corrupt',
};

/**
 * An exception of C++ comes as the address of its object: a number (see `thrownWords`), or a pointer to methods followed
 * by the address of a text.
 */
function failureOf(error: unknown): RawFailure {
  const address = (error as { excPtr?: unknown }).excPtr;
  if (typeof address !== 'number') {
    const { name, message, code } = error as NodeJS.ErrnoException;
    const isSpent = name === 'RuntimeError' || name === 'RangeError';
    return { message, isSpent, ...(typeof code === 'string' && { systemCode: code }) };
  }
  const view = new DataView(memory.buffer);
  const text = textAt(view.getUint32(address + 4, true));
  const code = /code (-\d+)/.exec(text)?.[1];
  const thrown = thrownWords[view.getUint32(address, true)] ?? 'its data are corrupt';
  const report = reports
    .at(-1)
    ?.replace(/^unknown file: /, '')
    .toLowerCase();
  return {
    message: report ?? (code === undefined ? thrown : text),
    // An exception that LibRaw does not handle itself leaves its memory allocated.
    isSpent: code === undefined,
    ...(code !== undefined && { code: Number(code) }),
  };
}

function textAt(address: number): string {
  const bytes = new Uint8Array(memory.buffer).subarray(address, address + 200);
  const end = bytes.indexOf(0);
  // Shared memory cannot be decoded.
  return Buffer.from(bytes.slice(0, Math.max(0, end))).toString('latin1');
}
