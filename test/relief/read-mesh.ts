import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { extname } from 'node:path';
import type { BufferGeometry } from 'three';
import { OBJLoader } from 'three/examples/jsm/loaders/OBJLoader.js';
import { PLYLoader } from 'three/examples/jsm/loaders/PLYLoader.js';
import { STLLoader } from 'three/examples/jsm/loaders/STLLoader.js';

/** A mesh as a reader of another's making gives it. */
export interface ReadMesh {
  /** (vertices, 3). */
  points: Float32Array;
  /** (triangles, 3); of formats without indices one vertex a corner. */
  triangles: Uint32Array;
  /** (vertices, 3), 0 to 1 in the reader's colour space. */
  colours?: Float32Array | undefined;
}

/** Reads a .ply, .stl or .obj by three's loaders. */
export function readByThree(path: string): ReadMesh {
  const bytes = readFileSync(path);
  const buffer = bytes.buffer.slice(bytes.byteOffset, bytes.byteOffset + bytes.byteLength) as ArrayBuffer;
  const geometry = geometryIn(extname(path), buffer, bytes);
  const points = new Float32Array(geometry.getAttribute('position').array);
  const index = geometry.getIndex();
  const colours = geometry.getAttribute('color');
  return {
    points,
    triangles: index
      ? new Uint32Array(index.array)
      : Uint32Array.from({ length: points.length / 3 }, (_, i) => i),
    colours: colours && new Float32Array(colours.array),
  };
}

function geometryIn(ending: string, buffer: ArrayBuffer, bytes: Buffer): BufferGeometry {
  if (ending === '.ply') return new PLYLoader().parse(buffer);
  if (ending === '.stl') return new STLLoader().parse(buffer);
  const [child] = new OBJLoader().parse(bytes.toString()).children;
  return (child as unknown as { geometry: BufferGeometry }).geometry;
}

interface AssimpScene {
  meshes: { vertices: number[]; faces: number[][] }[];
}

/** Reads any of the formats by assimp. */
export async function readByAssimp(path: string): Promise<ReadMesh> {
  const assimp = await createRequire(import.meta.url)('assimpjs')();
  const files = new assimp.FileList();
  files.AddFile(path, new Uint8Array(readFileSync(path)));
  const result = assimp.ConvertFileList(files, 'assjson');
  if (!result.IsSuccess()) throw new Error(result.GetErrorCode());
  const text = new TextDecoder().decode(result.GetFile(0).GetContent());
  const { meshes } = JSON.parse(text) as AssimpScene;
  return {
    points: Float32Array.from(meshes[0].vertices),
    triangles: Uint32Array.from(meshes[0].faces.flat()),
  };
}

/** Volume that a closed mesh holds, by the divergence theorem; positive when its triangles face outward. */
export function volumeOf({ points, triangles }: ReadMesh): number {
  let six = 0;
  for (let t = 0; t < triangles.length; t += 3) {
    const [a, b, c] = [0, 1, 2].map((k) => points.subarray(3 * triangles[t + k], 3 * triangles[t + k] + 3));
    six +=
      a[0] * (b[1] * c[2] - b[2] * c[1]) +
      a[1] * (b[2] * c[0] - b[0] * c[2]) +
      a[2] * (b[0] * c[1] - b[1] * c[0]);
  }
  return six / 6;
}

/** For each edge, by the coordinates of its ends, how often triangles run along it one way and the other. */
export function edgeUses({ points, triangles }: ReadMesh): { forth: number; back: number }[] {
  const uses = new Map<string, { forth: number; back: number }>();
  const name = (vertex: number) => points.subarray(3 * vertex, 3 * vertex + 3).join(' ');
  for (let t = 0; t < triangles.length; t += 3) {
    for (let k = 0; k < 3; k++) {
      const [from, to] = [name(triangles[t + k]), name(triangles[t + ((k + 1) % 3)])];
      const key = from < to ? `${from}|${to}` : `${to}|${from}`;
      const use = uses.get(key) ?? { forth: 0, back: 0 };
      if (from < to) use.forth++;
      else use.back++;
      uses.set(key, use);
    }
  }
  return [...uses.values()];
}
