import { withDefaults } from '../options/validate-options.js';
import { memoryTarget } from '../result/output-file.js';
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
  const file = memoryTarget();
  await writeGlb(file, content, record.size.width);
  return file.bytes();
}
