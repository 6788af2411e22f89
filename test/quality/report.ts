import type { DirectionRow } from './direction/direction-table.js';
import type { FaultRow } from './faults/fault-table.js';
import type { ReliabilityBar } from './metrics/evidence.js';
import type { Row, Shortfall } from './table.js';

/** What was found of one scene. */
export interface SceneReport {
  scene: string;
  skipped?: string;
  rows: Row[];
  shortfalls: Shortfall[];
  failures: string[];
  /** Of `auto`. */
  reliability?: ReliabilityBar[] | undefined;
}

/** What a run of the bench found: as `--json` prints it. */
export interface QualityReport {
  scenes: SceneReport[];
  faults: FaultRow[];
  directions: DirectionRow[];
}

/** Puts together what parts of the work found; faults of one kind are added up. */
export function joinReports(parts: readonly QualityReport[]): QualityReport {
  const faults = new Map<string, FaultRow>();
  for (const row of parts.flatMap((part) => part.faults)) {
    const known = faults.get(row.fault);
    if (known === undefined) {
      faults.set(row.fault, { ...row, misses: [...row.misses] });
      continue;
    }
    known.stacks += row.stacks;
    known.found += row.found;
    known.falseAlarms += row.falseAlarms;
    known.misses.push(...row.misses);
  }
  return {
    scenes: parts.flatMap((part) => part.scenes),
    faults: [...faults.values()],
    directions: parts.flatMap((part) => part.directions),
  };
}
