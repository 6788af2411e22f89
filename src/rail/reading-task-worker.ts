import { workerData } from 'node:worker_threads';
import { serveTasks } from '../workers/serve-tasks.js';
import { type ReadingTaskSetup, readingTasks } from './reading-tasks.js';

serveTasks(readingTasks(workerData as ReadingTaskSetup));
