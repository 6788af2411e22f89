/** What is used of the validator of glTF, which brings no types. */
declare module 'gltf-validator' {
  export function validateBytes(bytes: Uint8Array): Promise<{
    issues: { numErrors: number; numWarnings: number; messages: { code: string; message: string }[] };
    info: { totalTriangleCount: number; materialCount: number; resources: unknown[] };
  }>;
}
