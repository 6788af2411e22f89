import { InputError, named } from '../../errors.js';
import type { FrameFile } from '../frame.js';
import { developmentOf, plainDevelopment, settingsFor } from './development.js';
import { rawFailureReason } from './raw-failure.js';
import type { RawFile } from './raw-file.js';
import type { DevelopedPixels, SensorCrop } from './raw-jobs.js';
import { rawWorkers } from './raw-workers.js';

/** A raw frame and how it is developed. */
export type RawFrame = Pick<FrameFile, 'number' | 'name' | 'path'> & { raw: RawFile };

/**
 * Develops a raw frame, or takes it from where it was kept: upright, 16 bits, with the tone curve of its colour space.
 * Where frames are kept, all are to be asked for at one size.
 *
 * @param isHalf A pixel for each 2 x 2 samples of the sensor's mosaic, in a fifth of the time: no colour is interpolated.
 *   Its size is half that of the frame, rounded down.
 * @throws InputError when the file is damaged or cut short.
 */
export async function developFrame(frame: RawFrame, isHalf: boolean): Promise<DevelopedPixels> {
  const { raw, number } = frame;
  const kept = await raw.kept?.read(number);
  if (kept) return kept;
  const underWay = developing.get(raw);
  if (underWay?.isHalf === isHalf) return underWay.work;
  const work = develop(frame, isHalf).then(async (developed) => {
    await raw.kept?.keep(number, developed);
    return developed;
  });
  developing.set(raw, { isHalf, work });
  try {
    return await work;
  } finally {
    developing.delete(raw);
  }
}

/** Frames that are being developed: whoever asks for one meanwhile shares the result. */
const developing = new WeakMap<RawFile, { isHalf: boolean; work: Promise<DevelopedPixels> }>();

async function develop({ raw, path, name, number }: RawFrame, isHalf: boolean): Promise<DevelopedPixels> {
  const { crop, white } = raw;
  const development = raw.development ?? developmentOf(plainDevelopment, white, undefined);
  try {
    return await rawWorkers.run({
      kind: 'develop',
      path,
      settings: settingsFor(development, isHalf),
      crop: isHalf ? halved(crop) : crop,
    });
  } catch (error) {
    // A frame that just arrived has no number yet.
    const orSkip = number > 0 ? `, or leave it out with ${named('skip')} ${number}` : '';
    throw new InputError(`${name} ${rawFailureReason(error)}${orSkip}.`, { cause: error });
  }
}

function halved({ left, top, width, height }: SensorCrop): SensorCrop {
  return { left: left >> 1, top: top >> 1, width: width >> 1, height: height >> 1 };
}
