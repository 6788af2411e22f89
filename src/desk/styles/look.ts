/** Rules of the look screen; each begins with `.of-look`. */
export const lookStyle = `
`;
