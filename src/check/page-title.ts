/** Ends the title of every page of a check, by which such a page is known again. */
export const checkPageTitleEnd = ' – Lamella check';
