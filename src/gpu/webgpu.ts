import { existsSync, readdirSync } from 'node:fs';
import { optionalPackage } from '../optional-package.js';
import { GpuError } from './gpu-error.js';

/** A device as it is listed. */
export interface AdapterInfo {
  /** Its number in the list, from 0. */
  index: number;
  name: string;
  /** Devices of this name: only the first of them can be taken. */
  count: number;
  /** The processor emulates it: of use for tests alone. */
  isSoftware: boolean;
}

/**
 * Whether this machine may have a graphics processor: told by its device files on Linux, where looking for a driver takes
 * longer and is told about on standard error.
 */
export function mayHaveGpu(): boolean {
  if (process.platform !== 'linux') return true;
  if (['/dev/nvidia0', '/dev/dxg'].some((file) => existsSync(file))) return true;
  try {
    return readdirSync('/dev/dri').some((name) => name.startsWith('renderD'));
  } catch {
    return false;
  }
}

/** The programming interface; it must be held as long as anything of it is used, and ends with the process. */
let held: Promise<typeof import('webgpu')> | undefined;
const instances: GPU[] = [];

/** The package `webgpu`. Throws GpuError when it is not installed. */
async function loadPackage(): Promise<typeof import('webgpu')> {
  held ??= import('webgpu');
  try {
    return await held;
  } catch (error) {
    held = undefined;
    throw new GpuError(
      'missing',
      `a graphics processor is reached by the package webgpu, which is ${isAbsent(error) ? 'not installed' : `of no use here (${(error as Error).message.split('\n')[0]})`}: install it with npm install ${optionalPackage('webgpu')}`,
    );
  }
}

function isAbsent(error: unknown): boolean {
  return (error as { code?: unknown }).code === 'ERR_MODULE_NOT_FOUND';
}

/** A name under which the package finds a device. */
export interface ListedName {
  name: string;
  /** Devices of this name. */
  count: number;
}

/**
 * Names in the package's list of devices that lead to them, in its order. Asked for a name, the package takes the first
 * device whose name holds it: of devices of one name the first, and none behind a longer name that holds its own.
 */
export function readListing(listing: string): ListedName[] {
  const all = [...listing.matchAll(/name: '(.*)'$/gm)].map(([, name]) => name);
  return [...new Set(all)]
    .filter((name) => all.find((other) => other.includes(name)) === name)
    .map((name) => ({ name, count: all.filter((other) => other === name).length }));
}

/** The fastest first, as the package takes them where no name is given. */
const preference = { powerPreference: 'high-performance' } as const;

async function listedNames(): Promise<ListedName[]> {
  const { create } = await loadPackage();
  // The package lists its devices where it is asked for one that there cannot be.
  const none = create(['adapter=\u0001']);
  const listing = await none.requestAdapter(preference).then(
    () => '',
    (error: Error) => error.message,
  );
  return readListing(listing);
}

/** Kernels fill the memory of their workgroups themselves: zeros that the driver puts there first cost time for nothing. */
const features = 'enable-dawn-features=disable_workgroup_init';

/** A device that was taken. */
export interface TakenAdapter {
  adapter: GPUAdapter;
  name: string;
  /** Name and version of its driver. */
  driver: string;
}

/** The device of a number, or the fastest. Throws GpuError where there is none. */
export async function requestAdapter(index?: number): Promise<TakenAdapter> {
  const { create } = await loadPackage();
  const listed = await listedNames();
  if (index !== undefined && index >= listed.length) {
    const have = listed.map(({ name }, i) => `${i} ${name}`).join(', ');
    throw new GpuError(
      'missing',
      `there is no graphics processor ${index}${have && ` (there are: ${have})`}`,
    );
  }
  // What the package calls it by itself is no more than the name of its driver.
  const name = listed.at(index ?? 0)?.name;
  const instance = create([features, ...(name === undefined ? [] : [`adapter=${name}`])]);
  instances.push(instance);
  const adapter = await instance.requestAdapter(preference);
  if (!adapter)
    throw new GpuError(
      'missing',
      'no driver of this machine offers a graphics processor (Vulkan, Metal or Direct3D 12)',
    );
  return { adapter, name: name ?? adapter.info.device, driver: adapter.info.description };
}

export function isSoftware(adapter: GPUAdapter): boolean {
  return adapter.info.isFallbackAdapter === true;
}

/** All devices, in the order of their numbers. Throws GpuError when the package is not installed. */
export async function listAdapters(): Promise<{ info: AdapterInfo; adapter: GPUAdapter }[]> {
  const listed = await listedNames();
  return Promise.all(
    listed.map(async ({ name, count }, index) => {
      const { adapter } = await requestAdapter(index);
      return { info: { index, name, count, isSoftware: isSoftware(adapter) }, adapter };
    }),
  );
}
