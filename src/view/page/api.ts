import type {
  Candidates,
  DoubtfulPlaces,
  KeptMeasures,
  PageMeasure,
  PageMeasureRequest,
  PageMend,
  PageRegion,
  Preview,
  Progress,
  Refusal,
  ResultInfo,
  Section,
  Spot,
} from '../protocol.js';

/** What the server refuses, with a message for the user. */
export class RefusedError extends Error {}

/** The page itself gave a request up. */
export class AbandonedError extends Error {}

async function ask<T>(address: string, init?: RequestInit): Promise<T> {
  let response: Response;
  let body: string;
  try {
    response = await fetch(address, init);
    body = await response.text();
  } catch {
    if (init?.signal?.aborted) throw new AbandonedError();
    throw new RefusedError('Lamella no longer answers: is it still running?');
  }
  if (!response.ok) {
    let message = body;
    try {
      message = (JSON.parse(body) as Refusal).message;
    } catch {
      // A plain text stands for itself.
    }
    throw new RefusedError(message);
  }
  return JSON.parse(body) as T;
}

function post<T>(
  address: string,
  content: Record<string, unknown>,
  signal: AbortSignal | null = null,
): Promise<T> {
  return ask<T>(address, {
    method: 'POST',
    signal,
    headers: { 'Content-Type': 'application/json' },
    body: JSON.stringify(content),
  });
}

export const api = {
  result: () => ask<ResultInfo>('api/result'),
  progress: () => ask<Progress>('api/progress'),
  spot: (x: number, y: number, radius: number) => ask<Spot>(`api/spot?x=${x}&y=${y}&radius=${radius}`),
  section: (x0: number, y0: number, x1: number, y1: number, points: number) =>
    ask<Section>(`api/section?x0=${x0}&y0=${y0}&x1=${x1}&y1=${y1}&points=${points}`),
  distance: (x0: number, y0: number, x1: number, y1: number) =>
    ask<PageMeasure>(`api/distance?x0=${x0}&y0=${y0}&x1=${x1}&y1=${y1}`),
  measures: () => ask<KeptMeasures>('api/measures'),
  keepMeasure: (measure: PageMeasureRequest) => post<KeptMeasures>('api/keep-measure', { measure }),
  dropMeasure: (id: number) => post<KeptMeasures>('api/drop-measure', { id }),
  doubtful: () => ask<DoubtfulPlaces>('api/doubtful'),
  candidates: (region: PageRegion) => {
    const mend: PageMend = { id: 1, frame: 0, region, featherPx: 0, note: '', kept: true };
    return post<Candidates>('api/candidates', { mends: [mend] });
  },
  /** Rejects with AbandonedError once the signal is aborted; the server gives the work up then. */
  preview: (mends: readonly PageMend[], signal: AbortSignal) =>
    post<Preview>('api/preview', { mends }, signal),
  /** `base` is the list that was saved or read last: what others made of it meanwhile is kept. */
  save: (mends: readonly PageMend[], base: readonly PageMend[]) =>
    post<ResultInfo>('api/save', { mends, base }),
};
