import { createWriteStream } from 'node:fs';
import { open } from 'node:fs/promises';
import { PassThrough } from 'node:stream';
import { pipeline } from 'node:stream/promises';
import { ZipFile } from 'yazl';
import type { Size } from '../image/image.js';
import { html, type Markup } from '../markup/markup.js';
import { asOutputError, throwIfStopped } from '../result/output-failure.js';
import { appendPng, type PngPicture } from '../result/png-file.js';

/** A layer; `path` is that of its picture in the file, as `addPicture` was given it. */
export interface Layer {
  name: string;
  path: string;
  isVisible: boolean;
}

/** An OpenRaster file that is being written. */
export interface OpenRasterWriter {
  /** Adds a picture; settles when the archive has taken it. */
  addPicture(path: string, picture: PngPicture): Promise<void>;
  /** Adds the thumbnail, a whole PNG. */
  addThumbnail(png: Buffer): void;
  /** Adds the stack of layers, uppermost first, and waits until the disk holds the file. */
  finish(layers: readonly Layer[]): Promise<void>;
  /** Gives up; the file is for the caller to remove. */
  abandon(): Promise<void>;
}

/** Pictures are deflated already. The time is fixed, so that the same layers give the same bytes. */
const stored = { compress: false, forceDosTimestamp: true, mtime: new Date(1980, 0, 1), mode: 0o100644 };

/**
 * Opens an OpenRaster file (baseline of its specification, openraster.org, version 0.0.5): a Zip archive whose first
 * entry `mimetype` is stored, with `stack.xml`, layers in `data`, `mergedimage.png` and `Thumbnails/thumbnail.png`. Every
 * picture is streamed into it, and archives beyond 4 GiB take the 64-bit form.
 *
 * @throws OutputError when the file cannot be written; InterruptedError when stopped.
 */
export function openOpenRaster(path: string, size: Size, signal?: AbortSignal): OpenRasterWriter {
  const zip = new ZipFile();
  const written = pipeline(zip.outputStream, createWriteStream(path), ...(signal ? [{ signal }] : []));
  // Told where it is awaited.
  written.catch(() => {});
  const failed = written.then(() => new Promise<never>(() => {}));
  failed.catch(() => {});
  zip.addBuffer(Buffer.from('image/openraster', 'latin1'), 'mimetype', stored);

  /** What `work` gives, unless the file fails first. */
  const whileWriting = async <T>(work: Promise<T>): Promise<T> => {
    try {
      return await Promise.race([work, failed]);
    } catch (error) {
      throwIfStopped(signal);
      throw asOutputError(error, path);
    }
  };
  return {
    addPicture(name, picture) {
      const stream = new PassThrough();
      const taken = new Promise<void>((resolve) => stream.once('close', resolve));
      zip.addReadStreamLazy(name, stored, (give) => give(null, stream));
      const target = {
        append: (bytes: ArrayBufferView) =>
          new Promise<void>((resolve, reject) => {
            const all = Buffer.from(bytes.buffer as ArrayBuffer, bytes.byteOffset, bytes.byteLength);
            stream.write(all, (error) => (error ? reject(error) : resolve()));
          }),
      };
      return whileWriting(
        appendPng(target, picture).then(() => {
          stream.end();
          return taken;
        }),
      );
    },
    addThumbnail(png) {
      zip.addBuffer(png, 'Thumbnails/thumbnail.png', stored);
    },
    async finish(layers) {
      zip.addBuffer(Buffer.from(stackXml(size, layers), 'utf8'), 'stack.xml', { ...stored, compress: true });
      zip.end();
      try {
        await written;
        const handle = await open(path, 'r');
        await handle.sync().finally(() => handle.close());
      } catch (error) {
        throwIfStopped(signal);
        throw asOutputError(error, path);
      }
    },
    async abandon() {
      (zip.outputStream as NodeJS.ReadableStream & { destroy(): void }).destroy();
      await written.catch(() => {});
    },
  };
}

/** The first layer lies uppermost. */
function stackXml({ width, height }: Size, layers: readonly Layer[]): string {
  const lines: Markup[] = layers.map(
    ({ name, path, isVisible }) =>
      html`  <layer name="${xmlText(name)}" src="${path}" x="0" y="0" opacity="1.0" visibility="${
        isVisible ? 'visible' : 'hidden'
      }" composite-op="svg:src-over"/>\n`,
  );
  const stack = html`<image version="0.0.5" w="${width}" h="${height}">\n <stack>\n${lines} </stack>\n</image>\n`;
  return `<?xml version="1.0" encoding="UTF-8"?>\n${stack.text}`;
}

/** Without the characters that XML 1.0 (section 2.2) allows nowhere. */
function xmlText(text: string): string {
  return text.replace(/[^\t\n\r\u{20}-\u{d7ff}\u{e000}-\u{fffd}\u{10000}-\u{10ffff}]/gu, '\u{fffd}');
}
