import { withDefaults } from '../options/validate-options.js';
import type { OutputFile } from '../result/output-file.js';
import type { RunRecord } from '../result/run-record.js';
import { buildContent } from './build-content.js';
import { reliefOptionTable } from './relief-options.js';
import { writeGlb } from './write-glb.js';

/**
 * The relief of a result as the bytes of a .glb, for a page to show.
 *
 * @throws InputError when there is none to make.
 */
export async function reliefModel(folder: string, record: RunRecord, triangles: number): Promise<Buffer> {
  const options = withDefaults(reliefOptionTable, { triangles });
  const content = await buildContent(folder, record, 'glb', options);
  const pieces: Buffer[] = [];
  const file: OutputFile = {
    get position() {
      return pieces.reduce((sum, { length }) => sum + length, 0);
    },
    async append({ buffer, byteOffset, byteLength }) {
      pieces.push(Buffer.from(buffer as ArrayBuffer, byteOffset, byteLength));
    },
    async patch() {
      throw new Error('A model in memory is written from its start');
    },
  };
  await writeGlb(file, content, record.size.width);
  return Buffer.concat(pieces);
}
