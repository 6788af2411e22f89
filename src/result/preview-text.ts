import { optionName } from '../option-names.js';
import type { FrameReduction } from '../stack/frame.js';

const parts = { 2: 'half', 4: 'a quarter', 8: 'an eighth' } as const;

/** What a preview is, in a sentence for people. */
export function previewText({ factor, fileSize }: FrameReduction): string {
  return `This is a preview at ${parts[factor]} of the width and height of the photographs (${fileSize.width} x ${fileSize.height} pixels): merge again without ${optionName('preview')} for the picture itself.`;
}
