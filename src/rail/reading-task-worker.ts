import { workerData } from 'node:worker_threads';
import type { MotionSetup } from '../register/motion-tasks.js';
import { serveTasks } from '../workers/serve-tasks.js';
import { readingTasks } from './reading-tasks.js';

serveTasks(readingTasks(workerData as MotionSetup));
