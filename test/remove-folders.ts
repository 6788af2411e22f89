import { afterAll, afterEach } from 'vitest';
import { removeFolders } from './temporary-folders.js';

// Here, in what every test file begins with: files that share a process evaluate a helper module but once.
afterEach(() => removeFolders('test'));
afterAll(() => removeFolders('file'));
