import { existsSync, readdirSync } from 'node:fs';
import { optionalPackage } from '../optional-package.js';
import { GpuError } from './gpu-error.js';

/** A device as it is listed. */
export interface AdapterInfo {
  /** Its number in the list, from 0. */
  index: number;
  name: string;
  /** The processor that plays a device: of use for tests alone. */
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

/** Names of all devices that drivers offer, each once. */
async function adapterNames(): Promise<string[]> {
  const { create } = await loadPackage();
  // The package lists its devices where it is asked for one that there cannot be.
  const none = create(['adapter=\u0001']);
  const listing = await none.requestAdapter().then(
    () => '',
    (error: Error) => error.message,
  );
  return [...new Set([...listing.matchAll(/name: '([^']*)'/g)].map(([, name]) => name))];
}

/** Kernels fill the memory of their workgroups themselves: zeros that the driver puts there first cost time for nothing. */
const features = 'enable-dawn-features=disable_workgroup_init';

/** The device of a number, or the fastest. Throws GpuError where there is none. */
export async function requestAdapter(index?: number): Promise<GPUAdapter> {
  const { create } = await loadPackage();
  const names = index === undefined ? [] : await adapterNames();
  if (index !== undefined && index >= names.length) {
    const have = names.map((name, i) => `${i} ${name}`).join(', ');
    throw new GpuError(
      'missing',
      `there is no graphics processor ${index}${have && ` (there are: ${have})`}`,
    );
  }
  const instance = create(index === undefined ? [features] : [features, `adapter=${names[index]}`]);
  instances.push(instance);
  const adapter = await instance.requestAdapter({ powerPreference: 'high-performance' });
  if (!adapter)
    throw new GpuError(
      'missing',
      'no driver of this machine offers a graphics processor (Vulkan, Metal or Direct3D 12)',
    );
  return adapter;
}

export function isSoftware(adapter: GPUAdapter): boolean {
  return adapter.info.isFallbackAdapter === true;
}

export function adapterName({ info }: GPUAdapter): string {
  return info.description || info.device || info.vendor || 'unnamed';
}

/** All devices, in the order of their numbers. Throws GpuError when the package is not installed. */
export async function listAdapters(): Promise<{ info: AdapterInfo; adapter: GPUAdapter }[]> {
  const names = await adapterNames();
  return Promise.all(
    names.map(async (name, index) => {
      const adapter = await requestAdapter(index);
      return { info: { index, name, isSoftware: isSoftware(adapter) }, adapter };
    }),
  );
}
