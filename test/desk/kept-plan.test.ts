import { readdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { Desk } from '../../src/desk/desk.js';
import { settingsFolder } from '../../src/desk/kept-plan.js';
import { makeFolder } from '../stack/pictures.js';

describe('the plan of the desk', () => {
  it('is there again at the next start, and damaged or foreign content is no plan', async () => {
    const folder = makeFolder();
    const settings = join(makeFolder(), 'settings', 'lamella');
    const first = await Desk.open({ folder, settings });
    expect(first.plan).toEqual({});
    // The later of two changes in a row is the one that is kept.
    first.plan = { fNumber: '8' };
    first.plan = { mode: 'tubes', extensionMm: '68' };
    await first.close();
    expect(readdirSync(settings)).toEqual(['plan.json']);
    const second = await Desk.open({ folder, settings });
    expect(second.plan).toEqual({ mode: 'tubes', extensionMm: '68' });
    await second.close();
    for (const content of ['{', '{"schema":"lamella-plan","version":1,"values":{"fNumber":8}}', '[]']) {
      writeFileSync(join(settings, 'plan.json'), content);
      const desk = await Desk.open({ folder, settings });
      expect(desk.plan).toEqual({});
      await desk.close();
    }
  });

  it('is kept in memory where nothing can be written, and nowhere else without settings', async () => {
    const folder = makeFolder();
    const blocked = join(makeFolder(), 'file');
    writeFileSync(blocked, '');
    for (const settings of [blocked, undefined]) {
      const desk = await Desk.open({ folder, settings });
      desk.plan = { fNumber: '8' };
      expect(desk.plan).toEqual({ fNumber: '8' });
      await desk.close();
    }
    expect(readdirSync(folder)).toEqual([]);
  });

  it('lies where programs of each system keep settings', () => {
    expect(settingsFolder({}, 'linux', '/home/ant')).toBe('/home/ant/.config/lamella');
    expect(settingsFolder({ XDG_CONFIG_HOME: '/etc/ant' }, 'linux', '/home/ant')).toBe('/etc/ant/lamella');
    // A relative path is to be ignored (XDG Base Directory Specification).
    expect(settingsFolder({ XDG_CONFIG_HOME: 'ant' }, 'linux', '/home/ant')).toBe(
      '/home/ant/.config/lamella',
    );
    expect(settingsFolder({}, 'darwin', '/Users/ant')).toBe('/Users/ant/Library/Application Support/Lamella');
  });
});
