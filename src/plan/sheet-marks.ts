/** First bytes of every sheet of a plan, by which it is recognised. */
export const sheetTitlePrefix = 'Lamella: ';

/** Pattern of the first bytes of a sheet, by its format. */
export const sheetMarks = {
  html: new RegExp(`<title>${sheetTitlePrefix}(Positions of the rail|Distances to focus at)</title>`),
  csv: /^\uFEFF?"?frame"?[,;\t]"?(position_mm|focus_m)"?[,;\t]/,
} as const;
