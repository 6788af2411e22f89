// The part of the WebAssembly JavaScript interface that we use. Its full types come only with those of a
// browser's page (lib "DOM"), whose globals do not exist here.
declare namespace WebAssembly {
  class Module {
    constructor(bytes: Uint8Array);
  }
  class Instance {
    constructor(module: Module, imports: Record<string, Record<string, unknown>>);
    readonly exports: Record<string, unknown>;
  }
  class Memory {
    constructor(descriptor: { initial: number; maximum?: number; shared?: boolean });
    readonly buffer: SharedArrayBuffer;
    grow(pages: number): number;
  }
  function compile(bytes: Uint8Array): Promise<Module>;
  function instantiate(module: Module, imports: Record<string, Record<string, unknown>>): Promise<Instance>;
}
