import { workerData } from 'node:worker_threads';
import { serveTasks } from '../workers/serve-tasks.js';
import { type MotionSetup, motionTasks } from './motion-tasks.js';

serveTasks(motionTasks(workerData as MotionSetup));
