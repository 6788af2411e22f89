/** A copy in memory that threads share: sent to others, it is not copied again. */
export function sharedCopy<Values extends Uint8Array | Uint16Array | Float32Array>(values: Values): Values {
  const copy = new (values.constructor as new (memory: SharedArrayBuffer) => Values)(
    new SharedArrayBuffer(values.byteLength),
  );
  copy.set(values);
  return copy;
}
