/** Peak of a tone, as a share of full level: it is to be heard across a bench, not to startle. */
const level = 0.2;

/** Tones for eyes that are on the bench: a short high one for a good frame, two low ones for a bad one. */
export class Tones {
  private context: AudioContext | undefined;

  get isOn(): boolean {
    return this.context !== undefined;
  }

  /** To be called from a press, without which browsers allow no sound. */
  set(isOn: boolean): void {
    if (isOn === this.isOn) return;
    if (isOn) {
      this.context = new AudioContext();
      this.sound(true);
    } else {
      void this.context?.close();
      this.context = undefined;
    }
  }

  sound(isGood: boolean): void {
    if (isGood) this.beep(880, 0, 0.14);
    else for (const start of [0, 0.28]) this.beep(220, start, 0.22);
  }

  private beep(hertz: number, startS: number, lengthS: number): void {
    const { context } = this;
    if (!context) return;
    const from = context.currentTime + startS;
    const tone = new OscillatorNode(context, { frequency: hertz });
    const gain = new GainNode(context, { gain: 0 });
    // Faded in and out, or its ends would click.
    gain.gain.setTargetAtTime(level, from, 0.01);
    gain.gain.setTargetAtTime(0, from + lengthS, 0.02);
    tone.connect(gain).connect(context.destination);
    tone.start(from);
    tone.stop(from + lengthS + 0.2);
  }
}
