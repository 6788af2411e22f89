import type { ByteTarget } from '../result/output-file.js';
import { type MeshContent, reliefTitle, unitText, writeRecords } from './mesh-format.js';

/**
 * Binary PLY 1.0 (G. Turk, "The PLY Polygon File Format", Stanford 1994): points with colour and with confidence, 0 to 1,
 * a property of our own, which readers that do not know it pass over.
 */
export async function writePly(file: ByteTarget, content: MeshContent): Promise<void> {
  const { points, triangles, colour, confidence } = content;
  const vertices = points.length / 3;
  const faces = triangles.length / 3;
  const header = [
    'ply',
    'format binary_little_endian 1.0',
    `comment ${reliefTitle}`,
    `comment lengths in ${unitText[content.unit]}; x right, y up, z towards the camera`,
    `element vertex ${vertices}`,
    ...['x', 'y', 'z'].map((name) => `property float ${name}`),
    ...['red', 'green', 'blue'].map((name) => `property uchar ${name}`),
    'property float confidence',
    `element face ${faces}`,
    'property list uchar int vertex_indices',
    'end_header',
  ];
  await file.append(Buffer.from(`${header.join('\n')}\n`));
  await writeRecords(file, vertices, 19, (view, offset, i) => {
    for (let k = 0; k < 3; k++) {
      view.setFloat32(offset + 4 * k, points[3 * i + k], true);
      view.setUint8(offset + 12 + k, colour[3 * i + k]);
    }
    view.setFloat32(offset + 15, confidence[i] / 255, true);
  });
  await writeRecords(file, faces, 13, (view, offset, i) => {
    view.setUint8(offset, 3);
    for (let k = 0; k < 3; k++) view.setInt32(offset + 1 + 4 * k, triangles[3 * i + k], true);
  });
}
