import type { ByteTarget } from '../result/output-file.js';
import { type MeshContent, reliefTitle, unitText } from './mesh-format.js';
import { pointsBox, vertexNormals } from './mesh-points.js';

// Constants of the glTF 2.0 specification (Khronos 2021, ISO/IEC 12113:2022).
const magic = 0x46546c67;
const [jsonChunk, binaryChunk] = [0x4e4f534a, 0x004e4942];
const [floatType, indexType] = [5126, 5125];
const [vertexTarget, indexTarget] = [34962, 34963];
const [linear, mipmapped, clamped] = [9729, 9987, 33071];

const mmPerM = 1000;

/**
 * glTF 2.0 as one binary file: a mesh in metres with normals, seen from both sides, and the picture as its texture. Without
 * a scale points count pixels, and the node that holds them is one metre wide, for programs to show; nothing else is then
 * in metres.
 *
 * @param widthPx Width of the picture.
 */
export async function writeGlb(file: ByteTarget, content: MeshContent, widthPx: number): Promise<void> {
  const isMetric = content.unit === 'mm';
  const points = isMetric ? content.points.map((value) => value / mmPerM) : content.points;
  const { min, max } = pointsBox(points);
  const { triangles, texture, picture } = content;
  const vertices = points.length / 3;
  const parts: { bytes: ArrayBufferView; target?: number }[] = [
    { bytes: points, target: vertexTarget },
    { bytes: vertexNormals(points, triangles), target: vertexTarget },
    { bytes: texture, target: vertexTarget },
    { bytes: triangles, target: indexTarget },
    ...(picture ? [{ bytes: picture }] : []),
  ];
  let end = 0;
  const views = parts.map(({ bytes: { byteLength }, target }) => {
    const byteOffset = end;
    end += padded(byteLength);
    return { buffer: 0, byteOffset, byteLength, ...(target !== undefined && { target }) };
  });
  const vertexAccessor = (bufferView: number, type: string) => ({
    bufferView,
    componentType: floatType,
    count: vertices,
    type,
  });
  const document = {
    asset: { version: '2.0', generator: reliefTitle },
    scene: 0,
    scenes: [{ nodes: [0] }],
    nodes: [
      {
        mesh: 0,
        name: 'relief',
        ...(!isMetric && { scale: [1 / widthPx, 1 / widthPx, 1 / widthPx] }),
        extras: {
          lengths: isMetric ? 'metres' : unitText.px,
          // Of one unit of depth.tif, which grows away from the camera, against z.
          depthLength: isMetric ? content.perDepth / mmPerM : content.perDepth,
        },
      },
    ],
    meshes: [
      {
        name: 'relief',
        primitives: [{ attributes: { POSITION: 0, NORMAL: 1, TEXCOORD_0: 2 }, indices: 3, material: 0 }],
      },
    ],
    materials: [
      {
        name: 'composite',
        doubleSided: true,
        pbrMetallicRoughness: {
          metallicFactor: 0,
          roughnessFactor: 1,
          ...(picture && { baseColorTexture: { index: 0 } }),
        },
      },
    ],
    ...(picture && {
      textures: [{ source: 0, sampler: 0 }],
      samplers: [{ magFilter: linear, minFilter: mipmapped, wrapS: clamped, wrapT: clamped }],
      images: [{ bufferView: 4, mimeType: 'image/jpeg' }],
    }),
    accessors: [
      { ...vertexAccessor(0, 'VEC3'), min, max },
      vertexAccessor(1, 'VEC3'),
      vertexAccessor(2, 'VEC2'),
      { bufferView: 3, componentType: indexType, count: triangles.length, type: 'SCALAR' },
    ],
    bufferViews: views,
    buffers: [{ byteLength: end }],
  };
  const json = Buffer.from(JSON.stringify(document));
  const jsonBytes = padded(json.length);
  await file.append(uint32s(magic, 2, 12 + 8 + jsonBytes + 8 + end, jsonBytes, jsonChunk));
  await file.append(json);
  await file.append(Buffer.alloc(jsonBytes - json.length, ' '));
  await file.append(uint32s(end, binaryChunk));
  for (const { bytes } of parts) {
    await file.append(bytes);
    await file.append(Buffer.alloc(padded(bytes.byteLength) - bytes.byteLength));
  }
}

function padded(bytes: number): number {
  return Math.ceil(bytes / 4) * 4;
}

function uint32s(...values: number[]): Buffer {
  const buffer = Buffer.alloc(4 * values.length);
  for (const [i, value] of values.entries()) buffer.writeUInt32LE(value, 4 * i);
  return buffer;
}
