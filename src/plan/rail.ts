/** Position of the rail for one frame, and the reading of its knob. */
export interface RailPosition {
  /** From 1. */
  frame: number;
  /** Travel from the first frame, mm. */
  positionMm: number;
  /** Whole turns since the first frame; null when the travel of a turn is unknown. */
  turns: number | null;
  /** Angle beyond the whole turns, to a tenth of a degree. */
  degrees: number | null;
  /** Marks beyond the whole turns, to a tenth; null when the marks are unknown. */
  mark: number | null;
}

/** The knob of a rail. */
export interface Knob {
  travelPerTurnMm: number;
  marksPerTurn?: number | undefined;
}

const fullTurn = 360;

/**
 * Positions of all frames, the knob at 0 for the first. Each reading is computed from the position itself, so that
 * rounding errors do not accumulate over the stack.
 */
export function railPositions(frames: number, stepMm: number, knob: Knob | undefined): RailPosition[] {
  return Array.from({ length: frames }, (_, k) => {
    const positionMm = k * stepMm;
    if (!knob) return { frame: k + 1, positionMm, turns: null, degrees: null, mark: null };
    const angle = readingOf(positionMm, knob.travelPerTurnMm, fullTurn);
    if (knob.marksPerTurn === undefined) {
      return { frame: k + 1, positionMm, turns: angle.turns, degrees: angle.rest, mark: null };
    }
    const marks = readingOf(positionMm, knob.travelPerTurnMm, knob.marksPerTurn);
    // Turns and marks are read together: where the two roundings differ at a full turn, the marks decide.
    const degrees = angle.turns === marks.turns ? angle.rest : (marks.rest / knob.marksPerTurn) * fullTurn;
    return { frame: k + 1, positionMm, turns: marks.turns, degrees, mark: marks.rest };
  });
}

/** Whole turns and the rest in parts of a turn, rounded to a tenth of a part before they are split. */
function readingOf(
  positionMm: number,
  travelPerTurnMm: number,
  partsPerTurn: number,
): { turns: number; rest: number } {
  const tenths = Math.round((positionMm / travelPerTurnMm) * partsPerTurn * 10);
  const turns = Math.floor(tenths / (partsPerTurn * 10));
  return { turns, rest: Math.round(tenths - turns * partsPerTurn * 10) / 10 };
}
