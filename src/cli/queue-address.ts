import { env } from 'node:process';
import { checkQueueUrl } from '../batch/queue/queue-url.js';
import { named, UsageError } from '../errors.js';
import { optionError } from '../option-error.js';
import type { OptionSpec } from '../options/option.js';
import { text } from '../options/option-kinds.js';
import { requireBeside } from '../options/validate-options.js';
import { fileErrorReason } from '../stack/file-error.js';
import { readBoundedText } from '../stack/regular-file.js';

/** Holds the password of the queue where no file is given. */
const passwordVariable = 'LAMELLA_QUEUE_PASSWORD';

/** Longer ones are no passwords but some other file, bytes. */
const maxPasswordBytes = 4096;

const passwordFileRange = 'the path of a file that holds a password';

export const queuePasswordFile: OptionSpec<string> = {
  kind: text(passwordFileRange, /^/, 'FILE'),
  help: 'file that holds the password of the queue, instead of its address',
};

export const passwordHelp = `The password of the queue may stand in its address, where other users of the machine can see it (redis://:PASSWORD@host:6379),
in the file of --queue-password-file, or in the environment as ${passwordVariable}.`;

interface QueueFlags {
  queue?: unknown;
  queuePasswordFile?: unknown;
}

/**
 * The address of the queue with its password: of the address itself, of a file, or of the environment.
 *
 * @throws UsageError.
 */
export async function queueAddress(flags: QueueFlags): Promise<string> {
  const url = String(flags.queue);
  checkQueueUrl(url);
  const parsed = new URL(url);
  const file = flags.queuePasswordFile;
  if (file !== undefined && parsed.password !== '') {
    throw new UsageError(
      `Expected a password in the address of ${named('queue')} or in ${named('queuePasswordFile')} but received both: keep one of them.`,
    );
  }
  if (parsed.password !== '') return url;
  const password = file === undefined ? env[passwordVariable] : await passwordIn(String(file));
  if (!password) return url;
  // A percent sign of its own would be taken for the beginning of a code.
  parsed.password = encodeURIComponent(password);
  return parsed.href;
}

/** Refuses a password without a queue. */
export function refusePassword(flags: QueueFlags): void {
  requireBeside(flags, 'queue', 'queuePasswordFile');
}

async function passwordIn(path: string): Promise<string> {
  const refuse = (why?: string) =>
    optionError('queuePasswordFile', passwordFileRange, path, why ? { why } : {});
  if (path === '') throw refuse();
  let content: string;
  try {
    content = await readBoundedText(path, maxPasswordBytes);
  } catch (error) {
    throw refuse(fileErrorReason(error));
  }
  // Editors end a file with a line feed, which is no part of a password.
  const password = content.replace(/\r?\n$/, '');
  if (password === '') throw refuse('it is empty');
  return password;
}
