import { describe, expect, it } from 'vitest';
import { readListing } from '../../src/gpu/webgpu.js';

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
});
