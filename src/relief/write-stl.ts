import type { ByteTarget } from '../result/output-file.js';
import { type MeshContent, reliefTitle, writeRecords } from './mesh-format.js';

/** Bytes of the header; it must not begin with 'solid', by which files of text are known. */
const headerBytes = 80;

/** Binary STL (3D Systems, "StereoLithography Interface Specification", 1988): triangles with their normals. */
export async function writeStl(file: ByteTarget, { points, triangles, unit }: MeshContent): Promise<void> {
  const count = triangles.length / 3;
  const head = Buffer.alloc(headerBytes + 4, ' ');
  head.write(`${reliefTitle}, ${unit}`);
  head.writeUInt32LE(count, headerBytes);
  await file.append(head);
  await writeRecords(file, count, 50, (view, offset, i) => {
    const [a, b, c] = [0, 1, 2].map((k) => 3 * triangles[3 * i + k]);
    const u = [0, 1, 2].map((k) => points[b + k] - points[a + k]);
    const v = [0, 1, 2].map((k) => points[c + k] - points[a + k]);
    const normal = [u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0]];
    const length = Math.hypot(...normal) || 1;
    for (let k = 0; k < 3; k++) {
      view.setFloat32(offset + 4 * k, normal[k] / length, true);
      for (const [corner, from] of [a, b, c].entries()) {
        view.setFloat32(offset + 12 + 12 * corner + 4 * k, points[from + k], true);
      }
    }
  });
}
