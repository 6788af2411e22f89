/** Rules of the merge screen; each begins with `.of-merge`. */
export const mergeStyle = `
`;
