import { send } from '../api.js';
import { showFailure } from '../notice.js';

/** Shows a result in the viewer, in place of the desk; the browser's way back leads here again. */
export async function openResult(folder: string): Promise<void> {
  try {
    const { address } = await send<{ address: string }>('api/look', { folder });
    location.assign(address);
  } catch (error) {
    showFailure(error);
  }
}
