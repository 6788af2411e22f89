/** What the page needs of a .glb as Lamella writes it. */
export interface ReliefModel {
  /** (vertices, 3): x right, y up, z towards the camera. */
  points: Float32Array;
  normals: Float32Array;
  /** (vertices, 2). */
  texture: Float32Array;
  triangles: Uint32Array;
  picture: Blob | undefined;
  /** Length of one unit of depth in `points`. */
  depthLength: number;
  /** False where depth is drawn to no scale. */
  isMetric: boolean;
}

interface Document {
  accessors: { bufferView: number; count: number }[];
  bufferViews: { byteOffset: number; byteLength: number }[];
  images?: { bufferView: number; mimeType: string }[];
  nodes: { extras: { lengths: string; depthLength: number } }[];
}

const headBytes = 20;

/** Reads the one mesh of a binary glTF 2.0 of our own: no other is ever shown. */
export function readGlb(bytes: ArrayBuffer): ReliefModel {
  const jsonBytes = new DataView(bytes).getUint32(12, true);
  const text = new TextDecoder().decode(new Uint8Array(bytes, headBytes, jsonBytes));
  const { accessors, bufferViews, images, nodes } = JSON.parse(text) as Document;
  const start = headBytes + jsonBytes + 8;
  const view = (index: number): [offset: number, length: number] => {
    const { byteOffset, byteLength } = bufferViews[index];
    return [start + byteOffset, byteLength];
  };
  const floats = (accessor: number): Float32Array => {
    const [offset, length] = view(accessors[accessor].bufferView);
    return new Float32Array(bytes, offset, length / 4);
  };
  const [indexOffset, indexBytes] = view(accessors[3].bufferView);
  const image = images?.[0];
  const { lengths, depthLength } = nodes[0].extras;
  return {
    points: floats(0),
    normals: floats(1),
    texture: floats(2),
    triangles: new Uint32Array(bytes, indexOffset, indexBytes / 4),
    picture: image && new Blob([new Uint8Array(bytes, ...view(image.bufferView))], { type: image.mimeType }),
    depthLength,
    isMetric: lengths === 'metres',
  };
}
