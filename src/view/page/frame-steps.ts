import type { ResultInfo } from '../protocol.js';
import { byId } from './dom.js';

/** Frames beyond the next that are read ahead, and how many back. */
const aheadCount = 2;
const backCount = 1;

/** The frame that is shown alone, and the steps from one to the next. */
export class FrameSteps {
  frame: number;
  private readonly numbers: readonly number[];
  private readonly input = byId<HTMLInputElement>('frame-number');
  private direction: 1 | -1 = 1;

  constructor(
    private readonly info: ResultInfo,
    private readonly onShow: () => void,
  ) {
    this.numbers = info.frames.filter(({ used }) => used).map(({ number }) => number);
    this.frame = info.anchor;
    this.input.min = String(Math.min(...this.numbers));
    this.input.max = String(Math.max(...this.numbers));
    this.input.addEventListener('change', () => this.show(Number(this.input.value)));
    byId('frame-before').addEventListener('click', () => this.step(-1));
    byId('frame-after').addEventListener('click', () => this.step(1));
    this.notify();
  }

  /** Shows the frame in use whose number is the nearest. */
  show(number: number): void {
    const nearest = this.numbers.reduce((best, other) =>
      Math.abs(other - number) < Math.abs(best - number) ? other : best,
    );
    if (nearest !== this.frame) this.direction = nearest > this.frame ? 1 : -1;
    this.frame = nearest;
    this.notify();
    this.onShow();
  }

  /** Shows the frame in use so many further on. */
  step(by: number): void {
    const at = this.numbers.indexOf(this.frame) + by;
    this.show(this.numbers[Math.max(0, Math.min(this.numbers.length - 1, at))]);
  }

  /** Frames that are likely to be asked for, in the order in which they will be. */
  next(): number[] {
    return framesAhead(this.numbers, this.frame, this.direction);
  }

  private notify(): void {
    this.input.value = String(this.frame);
    const name = this.info.frames.find(({ number }) => number === this.frame)?.name ?? '';
    byId('frame-name').textContent = name;
    byId('frame-name').title = name;
  }
}

/** Two frames on in the direction of the last step, and one back. */
export function framesAhead(numbers: readonly number[], frame: number, direction: 1 | -1): number[] {
  const at = numbers.indexOf(frame);
  const positions = Array.from({ length: aheadCount }, (_, i) => at + direction * (i + 1));
  for (let i = 1; i <= backCount; i++) positions.push(at - direction * i);
  return positions.flatMap((position) => numbers[position] ?? []);
}
