import { serveTasks } from '../workers/serve-tasks.js';
import { writingTasks } from './writing-tasks.js';

serveTasks(writingTasks);
