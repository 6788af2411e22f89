/** Motion that is taken out between frames; see the help of `motion`. */
export type MotionModel = 'scale' | 'similarity' | 'shift' | 'none';
