import { describe, expect, it, vi } from 'vitest';
import { readListing } from '../../src/gpu/webgpu.js';
import * as finding from '../../src/merge/find-devices.js';
import { runLamella } from '../cli/fake-system.js';

/** As the package webgpu lists its devices. */
const listing = (...names: string[]) =>
  [
    'no suitable backends found',
    'Available adapters:',
    ...names.map((name) => ` * backend: 'vulkan', name: '${name}'`),
  ].join('\n');

describe('the list of devices', () => {
  it('counts those of one name, of which the first can be taken', () => {
    expect(readListing(listing('Large', 'Large', 'Small', 'Large'))).toEqual([
      { name: 'Large', count: 3 },
      { name: 'Small', count: 1 },
    ]);
  });

  it('leaves out a name that the package would take for a longer one before it', () => {
    expect(readListing(listing('Large 2', 'Large', 'Small')).map(({ name }) => name)).toEqual([
      'Large 2',
      'Small',
    ]);
    expect(readListing(listing('Large', 'Large 2')).map(({ name }) => name)).toEqual(['Large', 'Large 2']);
  });

  it('reads a name with quotes, and no list as none', () => {
    expect(readListing(listing("the maker's 'best'"))).toEqual([{ name: "the maker's 'best'", count: 1 }]);
    expect(readListing('')).toEqual([]);
  });

  it('says how many are alike, which is emulated, and what a merge takes by itself', async () => {
    const two: finding.FoundDevice[] = [
      { device: 'gpu:0', name: 'Large', count: 4, maxBufferMib: 4096, isSoftware: false },
      { device: 'gpu:1', name: 'Soft', count: 1, maxBufferMib: 1024, isSoftware: true },
    ];
    const find = vi.spyOn(finding, 'findDevices').mockResolvedValue({ devices: two, auto: 'gpu:0' });
    const { exitCode, stdout } = await runLamella('devices');
    const { stdout: json } = await runLamella('devices', '--json');
    find.mockRestore();
    expect(exitCode).toBe(0);
    expect(stdout).toBe(
      [
        'gpu:0  Large, first of 4 alike, buffers of up to 4096 MiB',
        'gpu:1  Soft, buffers of up to 1024 MiB, emulated by the processor: for tests',
        'cpu    the processor',
        'auto takes gpu:0.\n',
      ].join('\n'),
    );
    expect(JSON.parse(json)).toEqual({ devices: two, auto: 'gpu:0' });
  });
});
