import { type NightEvent, type NightEventOf, type PlannedStack, wantsLook } from './night-events.js';

/** Where a stack stands by the night list. */
export interface StackState {
  planned: PlannedStack;
  state: 'waiting' | 'running' | 'done' | 'failed' | 'put off';
  /** Its last start. */
  start?: NightEventOf<'start'>;
  /** Its last good end; a later failure or start leaves it, for the result still stands. */
  done?: NightEventOf<'done'>;
  /** Its last bad end, or why it was put off. */
  failed?: NightEventOf<'failed'>;
  putOff?: NightEventOf<'put-off'>;
}

/** Whether a stack was merged, but something spoils its picture. */
export function isToLookAt({ state, done }: StackState): boolean {
  return state === 'done' && done !== undefined && wantsLook(done);
}

/** What the events of a night list amount to. */
export interface NightState {
  /** The last start of a batch. */
  batch?: NightEventOf<'batch'>;
  /** How that batch ended; absent while it runs, or when it was killed. */
  end?: NightEventOf<'end'>;
  /** By key, in the order in which they were planned. */
  stacks: Map<string, StackState>;
  /** Keys of all that was ever begun, also where the line that planned it cannot be read: their result folders are ours. */
  begun: Set<string>;
}

/** Folds the events of a night list, oldest first; the last word on a stack counts. */
export function nightState(events: Iterable<NightEvent>): NightState {
  const night: NightState = { stacks: new Map(), begun: new Set() };
  for (const event of events) addEvent(night, event);
  return night;
}

/** Takes one more event into the state. */
export function addEvent(night: NightState, event: NightEvent): void {
  switch (event.event) {
    case 'batch':
      night.batch = event;
      delete night.end;
      startBatch(night, event);
      return;
    case 'found':
      for (const planned of event.stacks) plan(night, planned);
      return;
    case 'end':
      night.end = event;
      return;
  }
  if (event.event === 'start' || event.event === 'done') night.begun.add(event.stack);
  const stack = night.stacks.get(event.stack);
  if (!stack) return;
  switch (event.event) {
    case 'start':
      stack.start = event;
      stack.state = 'running';
      return;
    case 'done':
      stack.done = event;
      delete stack.failed;
      delete stack.putOff;
      stack.state = 'done';
      return;
    case 'failed':
      stack.failed = event;
      stack.state = 'failed';
      return;
    case 'put-off':
      stack.putOff = event;
      stack.state = 'put off';
      return;
  }
}

function startBatch(night: NightState, { stacks, whole }: NightEventOf<'batch'>): void {
  const planned = new Set(stacks.map(({ stack }) => stack));
  for (const [key, stack] of night.stacks) {
    // What ran when the batch before was killed did not end.
    if (stack.state === 'running') stack.state = 'waiting';
    // A folder that is gone cannot fail any more; its result, if it has one, is still there.
    if (whole && !planned.has(key) && !stack.done) night.stacks.delete(key);
  }
  for (const stack of stacks) plan(night, stack);
}

function plan(night: NightState, planned: PlannedStack): void {
  const known = night.stacks.get(planned.stack);
  night.stacks.set(planned.stack, { ...known, planned, state: known?.state ?? 'waiting' });
}
