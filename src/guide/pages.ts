import { readdirSync, readFileSync } from 'node:fs';

/** One page of the guide: what `lamella help TOPIC` shows. */
export interface GuidePage {
  /** Word that asks for it: the name of its file. */
  topic: string;
  /** Its heading. */
  title: string;
  /** Markdown. */
  text: string;
}

/** Topics in the order of the work. */
export const guideTopics = [
  'start',
  'desk',
  'stack',
  'raw',
  'planning',
  'checking',
  'merging',
  'result',
  'maps',
  'looking',
  'mending',
  'measure',
  'export',
  'relief',
  'many-stacks',
  'limits',
  'exit-codes',
  'library',
  'safety',
] as const;

export type GuideTopic = (typeof guideTopics)[number];

/** Pages ship as they are written: the folder of the sources is part of the package. */
export const guideFolder = new URL('../../src/guide/', import.meta.url);

export function isGuideTopic(word: string): word is GuideTopic {
  return guideTopics.some((topic) => topic === word);
}

/** Reads a page. Throws when the installation lacks it. */
export function readGuidePage(topic: GuideTopic): GuidePage {
  const text = readFileSync(new URL(`${topic}.md`, guideFolder), 'utf8');
  return { topic, title: /^# (.+)$/m.exec(text)?.[1] ?? topic, text };
}

/** Topics for which there is a file, whether listed or not. */
export function guideFiles(): string[] {
  return readdirSync(guideFolder)
    .filter((name) => name.endsWith('.md'))
    .map((name) => name.slice(0, -'.md'.length));
}
