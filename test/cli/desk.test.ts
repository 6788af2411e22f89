import { expect, test } from 'vitest';
import { openerOf } from '../../src/cli/open-browser.js';
import { runCli } from '../../src/cli/run.js';
import { fakeSystem } from './fake-system.js';

test('prints an address of this machine, serves the desk there, and lives until it is interrupted', async () => {
  const system = fakeSystem();
  const ended = runCli(['desk', '--no-open'], '1.2.3', system);
  while (!system.stdout.text.includes('\n')) await new Promise((resolve) => setTimeout(resolve, 20));
  expect(system.stdout.text).toMatch(/^http:\/\/127\.0\.0\.1:\d+\/[\w-]{32}\/\n$/);
  const reply = await fetch(system.stdout.text.trim());
  expect(await reply.text()).toContain('<title>Lamella</title>');
  system.signals.emit('SIGINT');
  expect(await ended).toBe(0);
});

test('a folder that is not there is named, with exit code 3', async () => {
  const system = fakeSystem();
  expect(await runCli(['desk', '/no/such/folder', '--no-open'], '1.2.3', system)).toBe(3);
  expect(system.stderr.text).toContain('"/no/such/folder" cannot be shown');
  expect(system.stdout.text).toBe('');
});

test('the browser is opened only where there is a screen', () => {
  expect(openerOf('linux', {})).toBeUndefined();
  expect(openerOf('linux', { DISPLAY: ':0' })).toEqual(['xdg-open']);
  expect(openerOf('linux', { WAYLAND_DISPLAY: 'wayland-0' })).toEqual(['xdg-open']);
  expect(openerOf('darwin', {})).toEqual(['open']);
});
