/** How sources are chosen: the strongest detail, the surface of the subject, or both with blur cleared. */
export type SourceRule = 'auto' | 'select' | 'weigh';
