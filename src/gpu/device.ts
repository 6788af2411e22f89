import { setImmediate } from 'node:timers/promises';
import { bufferUsage, computeStage, mapMode } from './flags.js';
import { GpuError } from './gpu-error.js';
import { frameLayout, type GpuPlanes, gpuLayout, type RowWindow, rowAlignment, sameRows } from './planes.js';
import {
  type BoundSet,
  type GpuBindings,
  type GpuKernelName,
  type GpuNumbers,
  gpuKernelNames,
  type KernelShape,
  kernelShape,
  programTexts,
  writeUniforms,
} from './programs.js';
import { isSoftware, requestAdapter, type TakenAdapter } from './webgpu.js';

export interface GpuOptions {
  /** Number of the device in the list; absent: the fastest. */
  index?: number;
}

/** What the threads of a dispatch cover: `width` threads a row, see `wordsOf` for 16-bit elements. */
export interface Threads {
  width: number;
  height: number;
  /** Rows that belong together: bands hold whole groups of them. Default 1. */
  rowsOfGroup?: number;
}

interface Program {
  shape: KernelShape;
  layout: GPUBindGroupLayout;
  pipeline: GPUComputePipeline;
}

const groupSide = 16;
/** Uniforms of the dispatches between two submissions; each starts where a binding may start. */
const uniformStep = 256;
const uniformBytes = 2048 * uniformStep;
/** Storage buffers of a kernel, workgroup memory and invocations that kernels may use. */
const storageBuffers = 10;
const planesUsage = bufferUsage.storage | bufferUsage.copySource | bufferUsage.copyDestination;
/** Parts in which memory is read back: large enough for the bus, small beside the planes. */
const readBytes = 32 << 20;
/** The least that is taken to read back: memory that both sides see is slow to come by. */
const leastReadBytes = 1 << 16;

/**
 * A device with programs, memory and one queue. `run` notes work, `submit` hands it over, and what is handed over is
 * done in order. Failures are told by the next `settled` or read.
 */
export class Gpu {
  readonly name: string;
  /** With its driver, which has a share in the bytes that it makes. */
  readonly fullName: string;
  readonly isSoftware: boolean;
  private readonly programs = new Map<GpuKernelName, Program>();
  private readonly groups = new Map<string, GPUBindGroup>();
  private readonly numberOf = new WeakMap<GPUBuffer, number>();
  private buffersMade = 0;
  private readonly uniforms: GPUBuffer;
  private readonly uniformMirror = new ArrayBuffer(uniformBytes);
  private uniformEnd = 0;
  private encoder: GPUCommandEncoder | undefined;
  private pass: GPUComputePassEncoder | undefined;
  private failure: GpuError | undefined;
  private compiling: Promise<void> | undefined;
  private readonly outcomes: Promise<void>[] = [];
  private readonly readBuffers: GPUBuffer[] = [];
  private isClosed = false;
  private closing: Promise<void> | undefined;
  /** What the package has promised. */
  private readonly underWay = new Set<Promise<unknown>>();
  /** Bytes of all planes and tables that are held. */
  heldBytes = 0;

  private constructor(
    { adapter, name, driver }: TakenAdapter,
    private readonly device: GPUDevice,
    private readonly texts: ReadonlyMap<GpuKernelName, string>,
    /** Largest binding that is made: what the device allows, or less in tests of bands. */
    public maxBindingBytes: number,
  ) {
    this.name = name;
    this.fullName = driver ? `${name} (${driver})` : name;
    this.isSoftware = isSoftware(adapter);
    this.track(device.lost).then(({ message }) => {
      if (!this.isClosed) this.fail('lost', `the graphics processor went away (${firstLine(message)})`);
    });
    device.addEventListener('uncapturederror', (event) => {
      this.fail('refused', `the graphics processor refused its work (${firstLine(event.error.message)})`);
    });
    this.uniforms = device.createBuffer({
      size: uniformBytes,
      usage: bufferUsage.uniform | bufferUsage.copyDestination,
    });
  }

  /** Throws GpuError when there is no device, or one that allows less than kernels need. */
  static async open({ index }: GpuOptions = {}): Promise<Gpu> {
    const taken = await requestAdapter(index);
    const { adapter, name } = taken;
    const { limits } = adapter;
    if (limits.maxStorageBuffersPerShaderStage < storageBuffers)
      throw new GpuError(
        'missing',
        `${name} binds ${limits.maxStorageBuffersPerShaderStage} buffers at once and ${storageBuffers} are needed`,
      );
    const requiredLimits = {
      maxStorageBuffersPerShaderStage: storageBuffers,
      maxStorageBufferBindingSize: limits.maxStorageBufferBindingSize,
      maxBufferSize: limits.maxBufferSize,
    };
    const device = await adapter.requestDevice({ requiredLimits }).catch((error: Error) => {
      throw new GpuError('refused', `${name} cannot be opened (${firstLine(error.message)})`);
    });
    const most = Math.floor(limits.maxStorageBufferBindingSize / rowAlignment) * rowAlignment;
    return new Gpu(taken, device, await programTexts(), most);
  }

  /**
   * Compiles all kernels, side by side where the driver can: else each is compiled at its first use. Reading their texts takes
   * this thread, which others get between two of them.
   */
  compileAll(): Promise<void> {
    this.compiling ??= this.compileEach().catch(async (error: Error) => {
      await this.check();
      throw new GpuError('refused', `${this.name} cannot run the kernels (${firstLine(error.message)})`);
    });
    return this.compiling;
  }

  private async compileEach(): Promise<void> {
    const compiled: Promise<unknown>[] = [];
    for (const name of gpuKernelNames) {
      if (this.isClosed) return;
      const { shape, layout, descriptor } = this.describe(name);
      const compiling = this.track(this.device.createComputePipelineAsync(descriptor)).then((pipeline) => {
        if (!this.programs.has(name)) this.programs.set(name, { shape, layout, pipeline });
      });
      // Told below.
      compiling.catch(() => {});
      compiled.push(compiling);
      await setImmediate();
    }
    await Promise.all(compiled);
  }

  /** Planes of zeros. */
  takePlanes(width: number, height: number, planes: number, elementBytes: 1 | 2 | 4): GpuPlanes {
    const layout = gpuLayout(width, height, planes, elementBytes);
    return { ...layout, buffer: this.take(layout.bytes) };
  }

  /** Room for a frame. */
  takeFrame(width: number, height: number, bits: 8 | 16): GpuPlanes {
    const layout = frameLayout(width, height, bits);
    return { ...layout, buffer: this.take(layout.bytes) };
  }

  /** As `takeFrame`; undefined where that is more than `room` bytes, or than the device's memory has left. */
  async tryFrame(width: number, height: number, bits: 8 | 16, room: number): Promise<GpuPlanes | undefined> {
    const layout = frameLayout(width, height, bits);
    const buffer = layout.bytes > room ? undefined : await this.tryTake(layout.bytes);
    return buffer && { ...layout, buffer };
  }

  /** A buffer of so many bytes; undefined where the device has not the memory for it. */
  async tryTake(bytes: number): Promise<GPUBuffer | undefined> {
    const { device } = this;
    if (bytes > device.limits.maxBufferSize) return undefined;
    device.pushErrorScope('out-of-memory');
    const buffer = device.createBuffer({ size: bytes, usage: planesUsage });
    // A device that is lost is told of by itself.
    const error = await this.track(device.popErrorScope()).catch(() => null);
    if (error) {
      buffer.destroy();
      return undefined;
    }
    this.numberOf.set(buffer, ++this.buffersMade);
    this.heldBytes += buffer.size;
    return buffer;
  }

  /** A table of zeros, or of the given bytes, for kernels to bind as a whole. */
  takeTable(contents: number | ArrayBufferView): GPUBuffer {
    const bytes = typeof contents === 'number' ? contents : contents.byteLength;
    const buffer = this.take(Math.ceil(bytes / 4) * 4);
    if (typeof contents !== 'number') this.writeTable(buffer, contents);
    return buffer;
  }

  /** Replaces a table's contents, after all that is noted so far. */
  writeTable(table: GPUBuffer, contents: ArrayBufferView): void {
    this.submit();
    const bytes = new Uint8Array(Math.ceil(contents.byteLength / 4) * 4);
    // A copy: memory that threads share ends the process here.
    bytes.set(new Uint8Array(contents.buffer, contents.byteOffset, contents.byteLength));
    this.device.queue.writeBuffer(table, 0, bytes);
  }

  /** Gives memory back; it must not be bound again. */
  release(...held: (GpuPlanes | GPUBuffer)[]): void {
    this.submit();
    this.groups.clear();
    for (const one of held) {
      const buffer = 'buffer' in one ? one.buffer : one;
      this.heldBytes -= buffer.size;
      buffer.destroy();
    }
  }

  /**
   * Notes one run of a kernel over rows of threads, by bands of rows where a set is larger than a binding may be.
   *
   * @param sets Of each set the rows of the threads are bound, or those that a `RowWindow` says.
   */
  run<K extends GpuKernelName>(
    kernel: K,
    numbers: GpuNumbers<K>,
    sets: GpuBindings<K, GpuPlanes | RowWindow, GPUBuffer>,
    over: Threads,
  ): void {
    const program = this.programOf(kernel);
    const { shape } = program;
    const given = sets as Readonly<Record<string, GpuPlanes | RowWindow | GPUBuffer>>;
    const windows = shape.bindings.map(({ name, isSet }) =>
      isSet ? windowOf(kernel, name, given[name]) : undefined,
    );
    for (const band of this.bandsOf(kernel, windows, over)) {
      const bound: BoundSet[] = [];
      const entries: { buffer: GPUBuffer; offset: number; size: number }[] = [];
      shape.bindings.forEach(({ name }, i) => {
        const window = windows[i];
        if (!window) {
          const buffer = given[name] as GPUBuffer;
          entries.push({ buffer, offset: 0, size: buffer.size });
          return;
        }
        const { set } = window;
        const { firstRow, offset, size } = boundPart(window, band.fromRow, band.toRow);
        entries.push({ buffer: set.buffer, offset, size });
        bound[shape.sets.indexOf(name)] = { ...set, firstRow, startByte: offset };
      });
      this.dispatch(kernel, program, entries, over.width, band, bound, numbers);
    }
  }

  /** Copies bytes between buffers, after what is noted; offsets and length are multiples of 4. */
  copy(from: GPUBuffer, fromByte: number, to: GPUBuffer, toByte: number, bytes: number): void {
    this.endPass();
    this.commands().copyBufferToBuffer(from, fromByte, to, toByte, bytes);
  }

  /** Hands over what is noted. */
  submit(): void {
    if (!this.encoder) return;
    this.endPass();
    if (this.uniformEnd > 0)
      this.device.queue.writeBuffer(this.uniforms, 0, this.uniformMirror, 0, this.uniformEnd);
    this.uniformEnd = 0;
    const commands = this.encoder.finish();
    this.encoder = undefined;
    this.device.queue.submit([commands]);
  }

  /** Hands over what is noted and waits until it is done. Throws GpuError when anything failed since. */
  async settled(): Promise<void> {
    this.submit();
    await this.track(this.device.queue.onSubmittedWorkDone()).catch(() => {});
    await this.check();
  }

  /** Reads a table into `to`, whole; `to` may lie in memory that threads share. Throws GpuError. */
  async readTable(table: GPUBuffer, to: Uint8Array<ArrayBufferLike>): Promise<void> {
    await this.readSpans(
      [{ buffer: table, at: 0, bytes: Math.ceil(to.byteLength / 4) * 4 }],
      (_, bytes, done) => {
        to.set(bytes.subarray(0, to.byteLength - done), done);
      },
    );
  }

  /**
   * Reads one plane, rows `stride` bytes apart in `to` from its beginning on; `to` may lie in memory that threads share.
   * Throws GpuError.
   */
  async readPlane(
    set: GpuPlanes,
    plane: number,
    to: Uint8Array<ArrayBufferLike>,
    stride: number,
  ): Promise<void> {
    const { width, height, elementBytes, rowBytes, planeWords } = set;
    const bytes = width * elementBytes;
    // Copies of many rows at once, with what lies between them, where that is no more than the rows themselves.
    const rows = set.planes > 2 ? 1 : Math.max(1, Math.floor(readBytes / rowBytes));
    const spans = Array.from({ length: Math.ceil(height / rows) }, (_, i) => ({
      buffer: set.buffer,
      at: i * rows * rowBytes + plane * planeWords * 4,
      bytes: (Math.min(rows, height - i * rows) - 1) * rowBytes + Math.ceil(bytes / 4) * 4,
    }));
    await this.readSpans(spans, (i, part, done) => {
      const end = done + part.length;
      for (let row = Math.floor(done / rowBytes); row * rowBytes < end; row++) {
        const start = row * rowBytes;
        const [from, past] = [Math.max(done, start), Math.min(end, start + bytes)];
        if (past > from)
          to.set(part.subarray(from - done, past - done), (i * rows + row) * stride + from - start);
      }
    });
  }

  /** Maps a buffer of `takeStaging` again, once what is handed over of it is done. */
  mapStaging(buffer: GPUBuffer): Promise<unknown> {
    return this.track(buffer.mapAsync(mapMode.write));
  }

  /** A buffer that is mapped for the processor to write, `bytes` long. */
  takeStaging(bytes: number): GPUBuffer {
    return this.create(bytes, bufferUsage.mapWrite | bufferUsage.copySource, true);
  }

  /**
   * Ends all work; planes and tables are gone. That takes a moment, in which who is called first may start other work. Done when
   * nothing is under way any more: a thread that ends before that takes the process with it.
   */
  close(): Promise<void> {
    this.closing ??= (async () => {
      this.isClosed = true;
      await setImmediate();
      this.device.destroy();
      while (this.underWay.size > 0) await Promise.allSettled(this.underWay);
    })();
    return this.closing;
  }

  /** Throws what failed, once all that was asked for so far is known to be there; also when the device was closed meanwhile. */
  async check(): Promise<void> {
    await Promise.all(this.outcomes.splice(0));
    if (this.failure) throw this.failure;
    // A driver may still finish in the moment before the device is destroyed: what is then read is refused all the same.
    if (this.isClosed) throw new GpuError('lost', 'the graphics processor was given back');
  }

  private track<Value>(promise: Promise<Value>): Promise<Value> {
    this.underWay.add(promise);
    const end = () => void this.underWay.delete(promise);
    promise.then(end, end);
    return promise;
  }

  /** A kernel, compiled at its first use. */
  private programOf(name: GpuKernelName): Program {
    const known = this.programs.get(name);
    if (known) return known;
    const { shape, layout, descriptor } = this.describe(name);
    const program = { shape, layout, pipeline: this.device.createComputePipeline(descriptor) };
    this.programs.set(name, program);
    return program;
  }

  private describe(name: GpuKernelName) {
    const { device } = this;
    const shape = kernelShape(name);
    const layout = device.createBindGroupLayout({
      entries: [
        {
          binding: 0,
          visibility: computeStage,
          buffer: { type: 'uniform', hasDynamicOffset: true, minBindingSize: shape.uniformBytes },
        },
        ...shape.bindings.map(({ access }, i) => ({
          binding: i + 1,
          visibility: computeStage,
          buffer: { type: access === 'read' ? ('read-only-storage' as const) : ('storage' as const) },
        })),
      ],
    });
    const module = device.createShaderModule({ code: this.texts.get(name)!, label: name });
    const descriptor = {
      label: name,
      layout: device.createPipelineLayout({ bindGroupLayouts: [layout] }),
      compute: { module, entryPoint: 'main' },
    };
    return { shape, layout, descriptor };
  }

  private fail(failure: GpuError['failure'], message: string): void {
    this.failure ??= new GpuError(failure, message);
  }

  private create(bytes: number, usage: number, mappedAtCreation = false): GPUBuffer {
    const { device } = this;
    if (bytes > device.limits.maxBufferSize) {
      const mib = (count: number) => Math.floor(count / 2 ** 20);
      throw new GpuError(
        'memory',
        `a buffer of ${mib(bytes)} MiB is needed, and ${this.name} makes ${mib(device.limits.maxBufferSize)} MiB at most`,
      );
    }
    device.pushErrorScope('out-of-memory');
    const buffer = device.createBuffer({ size: Math.max(4, bytes), usage, mappedAtCreation });
    this.outcomes.push(
      this.track(device.popErrorScope()).then(
        (error) => {
          if (error) this.fail('memory', `the memory of ${this.name} is too small`);
        },
        // Of a lost device, which is told by itself.
        () => {},
      ),
    );
    this.numberOf.set(buffer, ++this.buffersMade);
    return buffer;
  }

  private take(bytes: number): GPUBuffer {
    const buffer = this.create(bytes, planesUsage);
    this.heldBytes += buffer.size;
    return buffer;
  }

  private commands(): GPUCommandEncoder {
    this.encoder ??= this.device.createCommandEncoder();
    return this.encoder;
  }

  private endPass(): void {
    this.pass?.end();
    this.pass = undefined;
  }

  /** Rows of the bands of a dispatch: as few as keep all windows within what may be bound. */
  private bandsOf(
    kernel: string,
    windows: readonly (RowWindow | undefined)[],
    { height, rowsOfGroup = 1 }: Threads,
  ) {
    const bandsOf = (count: number) => {
      const least = Math.ceil(height / count);
      const unit = least > groupSide ? groupSide : rowsOfGroup;
      const rows = Math.ceil(least / unit) * unit;
      return Array.from({ length: Math.ceil(height / rows) }, (_, i) => ({
        fromRow: i * rows,
        toRow: Math.min(height, (i + 1) * rows),
      }));
    };
    const fits = (band: { fromRow: number; toRow: number }) =>
      windows.every((window) => {
        return !window || boundPart(window, band.fromRow, band.toRow).size <= this.maxBindingBytes;
      });
    for (let count = 1; count < 2 * height; count *= 2) {
      const bands = bandsOf(count);
      if (bands.every(fits)) return bands;
    }
    throw new GpuError(
      'memory',
      `${this.name} binds ${this.maxBindingBytes >> 20} MiB at most, too little for ${kernel}`,
    );
  }

  private dispatch(
    kernel: GpuKernelName,
    { shape, layout, pipeline }: Program,
    entries: readonly { buffer: GPUBuffer; offset: number; size: number }[],
    width: number,
    { fromRow, toRow }: { fromRow: number; toRow: number },
    bound: readonly BoundSet[],
    numbers: Readonly<Record<string, unknown>>,
  ): void {
    const step = Math.ceil(shape.uniformBytes / uniformStep) * uniformStep;
    if (this.uniformEnd + step > uniformBytes) this.submit();
    const view = new DataView(this.uniformMirror);
    writeUniforms(view, this.uniformEnd, shape, { width, fromRow, toRow }, bound, numbers);
    const key = `${kernel} ${entries.map(({ buffer, offset, size }) => `${this.numberOf.get(buffer)}:${offset}:${size}`).join(' ')}`;
    let group = this.groups.get(key);
    if (!group) {
      group = this.device.createBindGroup({
        layout,
        entries: [
          { binding: 0, resource: { buffer: this.uniforms, size: shape.uniformBytes } },
          ...entries.map((resource, i) => ({ binding: i + 1, resource })),
        ],
      });
      this.groups.set(key, group);
    }
    this.pass ??= this.commands().beginComputePass();
    this.pass.setPipeline(pipeline);
    this.pass.setBindGroup(0, group, [this.uniformEnd]);
    this.pass.dispatchWorkgroups(Math.ceil(width / groupSide), Math.ceil((toRow - fromRow) / groupSide));
    this.uniformEnd += step;
  }

  /** A buffer to read at least so many bytes back by, of those that have served or a new one. */
  private takeReadBuffer(bytes: number): GPUBuffer {
    const [fitting] = this.readBuffers
      .filter(({ size }) => size >= bytes)
      .sort((first, second) => first.size - second.size);
    if (!fitting) {
      const size = 2 ** Math.ceil(Math.log2(Math.max(leastReadBytes, bytes)));
      return this.create(size, bufferUsage.mapRead | bufferUsage.copyDestination);
    }
    this.readBuffers.splice(this.readBuffers.indexOf(fitting), 1);
    return fitting;
  }

  /** Reads spans of buffers by parts of `readBytes`; `take` gets each span's number, its bytes, and the bytes before it in the span. */
  private async readSpans(
    spans: readonly { buffer: GPUBuffer; at: number; bytes: number }[],
    take: (span: number, bytes: Uint8Array, done: number) => void,
  ): Promise<void> {
    // Two parts on their way: one is copied by the device while the other is taken.
    type Piece = { span: number; done: number; bytes: number };
    const parts: Piece[][] = [[]];
    let room = readBytes;
    spans.forEach(({ bytes }, span) => {
      for (let done = 0; done < bytes; ) {
        if (room === 0) {
          parts.push([]);
          room = readBytes;
        }
        const piece = { span, done, bytes: Math.min(room, bytes - done) };
        parts.at(-1)!.push(piece);
        room -= piece.bytes;
        done += piece.bytes;
      }
    });
    const fetch = async (pieces: readonly Piece[]) => {
      const staging = this.takeReadBuffer(pieces.reduce((sum, { bytes }) => sum + bytes, 0));
      let end = 0;
      for (const { span, done, bytes } of pieces) {
        const { buffer, at } = spans[span];
        this.copy(buffer, at + done, staging, end, bytes);
        end += bytes;
      }
      this.submit();
      try {
        await this.track(staging.mapAsync(mapMode.read, 0, end));
      } catch (error) {
        await this.check();
        throw error;
      }
      return { staging, pieces, end };
    };
    let next = fetch(parts[0]);
    for (let i = 0; i < parts.length; i++) {
      const { staging, pieces, end } = await next;
      if (i + 1 < parts.length) {
        next = fetch(parts[i + 1]);
        // Told where it is awaited.
        next.catch(() => {});
      }
      const mapped = new Uint8Array(staging.getMappedRange(0, end));
      let from = 0;
      for (const { span, done, bytes } of pieces) {
        take(span, mapped.subarray(from, from + bytes), done);
        from += bytes;
      }
      staging.unmap();
      this.readBuffers.push(staging);
    }
    await this.check();
  }
}

function windowOf(kernel: string, name: string, given: GpuPlanes | RowWindow | GPUBuffer): RowWindow {
  if (!given) throw new Error(`Expected a set ${name} for ${kernel}`);
  return 'rows' in given ? given : { set: given as GpuPlanes, rows: sameRows() };
}

/** The part of a window's set that is bound: the rows that are there. Rows of frames start between two bindings. */
function boundPart({ set, rows }: RowWindow, from: number, to: number) {
  const [first, past] = rows(from, to);
  const firstRow = Math.max(0, Math.min(set.height - 1, first));
  const pastRow = Math.max(firstRow + 1, Math.min(set.height, past));
  const offset = Math.floor((firstRow * set.rowBytes) / rowAlignment) * rowAlignment;
  return { firstRow, offset, size: Math.ceil((pastRow * set.rowBytes) / 4) * 4 - offset };
}

function firstLine(text: string): string {
  return text.trim().split('\n')[0];
}
