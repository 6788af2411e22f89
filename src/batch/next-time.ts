/** The next moment at which the local clock shows hour and minute, ms since 1970. */
export function nextTime(hour: number, minute: number, now: Date): number {
  const next = new Date(now);
  next.setHours(hour, minute, 0, 0);
  if (next.getTime() <= now.getTime()) next.setDate(next.getDate() + 1);
  return next.getTime();
}
