import type { ByteTarget } from '../result/output-file.js';
import { type MeshContent, reliefTitle, unitText, writeLines } from './mesh-format.js';

/** Digits of a coordinate: as many as its float has. */
const digits = 7;

/**
 * Wavefront OBJ (Advanced Visualizer, appendix B1) with the colours of its points behind their coordinates, which most
 * programs read and others pass over; so that one file is enough.
 */
export async function writeObj(file: ByteTarget, content: MeshContent): Promise<void> {
  const { points, triangles, colour, texture } = content;
  const vertices = points.length / 3;
  await file.append(
    Buffer.from(
      `# ${reliefTitle}\n# lengths in ${unitText[content.unit]}; x right, y up, z towards the camera\no relief\n`,
    ),
  );
  const numbers = (values: ArrayLike<number>, from: number, count: number, scale = 1): string => {
    const texts: string[] = [];
    for (let k = 0; k < count; k++)
      texts.push(String(Number((values[from + k] * scale).toPrecision(digits))));
    return texts.join(' ');
  };
  await writeLines(
    file,
    vertices,
    (i) => `v ${numbers(points, 3 * i, 3)} ${numbers(colour, 3 * i, 3, 1 / 255)}\n`,
  );
  // The format counts texture from the lower left.
  await writeLines(file, vertices, (i) => `vt ${numbers([texture[2 * i], 1 - texture[2 * i + 1]], 0, 2)}\n`);
  await writeLines(file, triangles.length / 3, (i) => {
    const corners = [0, 1, 2].map((k) => triangles[3 * i + k] + 1);
    return `f ${corners.map((corner) => `${corner}/${corner}`).join(' ')}\n`;
  });
}
