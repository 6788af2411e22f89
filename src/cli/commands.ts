import type { Command } from 'commander';
import { batchCommand } from './batch-command.js';
import { checkCommand } from './check-command.js';
import { deskCommand } from './desk-command.js';
import { devicesCommand } from './devices-command.js';
import { exportCommand } from './export-command.js';
import { measureCommand } from './measure-command.js';
import { mendCommand } from './mend-command.js';
import { mergeCommand } from './merge-command.js';
import { planCommand } from './plan-command.js';
import { reliefCommand } from './relief-command.js';
import type { System } from './system.js';
import { traceCommand } from './trace-command.js';
import { viewCommand } from './view-command.js';
import { workerCommand } from './worker-command.js';

/** The commands in the order of the work; heavy modules are loaded by a command's action, not by its file. */
export const commands: readonly ((system: System) => Command)[] = [
  deskCommand,
  planCommand,
  checkCommand,
  mergeCommand,
  traceCommand,
  viewCommand,
  mendCommand,
  measureCommand,
  exportCommand,
  reliefCommand,
  batchCommand,
  workerCommand,
  devicesCommand,
];
