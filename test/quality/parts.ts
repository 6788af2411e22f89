import { spawn } from 'node:child_process';
import { fileURLToPath } from 'node:url';
import { joinReports, type QualityReport } from './report.js';

const main = fileURLToPath(new URL('main.ts', import.meta.url));

/**
 * Runs parts of the bench side by side, each in a process of its own, the first ones first.
 *
 * @param parts Arguments of each part.
 * @param jobs Processes at a time.
 * @param onReport Told what each part found as soon as it ends.
 * @returns What the parts found, in their order, and a line for each that broke off.
 */
export async function runParts(
  parts: readonly (readonly string[])[],
  jobs: number,
  onReport: (report: QualityReport) => void,
): Promise<{ report: QualityReport; broken: string[] }> {
  const reports: (QualityReport | undefined)[] = parts.map(() => undefined);
  const broken: string[] = [];
  const waiting = [...parts.entries()];
  const work = async () => {
    for (let next = waiting.shift(); next; next = waiting.shift()) {
      const [index, args] = next;
      const started = performance.now();
      try {
        const report = await runPart(args);
        reports[index] = report;
        onReport(report);
      } catch (error) {
        broken.push(`${args.join(' ')}: ${error instanceof Error ? error.message : String(error)}`);
      }
      console.error(`${args.join(' ')}: ${((performance.now() - started) / 1000).toFixed(0)} s`);
    }
  };
  await Promise.all(Array.from({ length: jobs }, work));
  return { report: joinReports(reports.filter((report) => report !== undefined)), broken };
}

function runPart(args: readonly string[]): Promise<QualityReport> {
  const child = spawn(process.execPath, [...process.execArgv, main, ...args, '--json'], {
    stdio: ['ignore', 'pipe', 'inherit'],
  });
  let text = '';
  child.stdout.setEncoding('utf8').on('data', (piece: string) => {
    text += piece;
  });
  return new Promise((resolve, reject) => {
    child.on('error', reject);
    // Exit code 1 means that something falls short: its report is whole.
    child.on('close', (code, signal) => {
      if (code === 0 || code === 1) {
        try {
          resolve(JSON.parse(text) as QualityReport);
          return;
        } catch {
          // Told below.
        }
      }
      reject(new Error(`ended by ${signal ?? `exit code ${code}`} without a report`));
    });
  });
}
