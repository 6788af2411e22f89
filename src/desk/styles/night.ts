/** Rules of the night screen; each begins with `.of-night`. */
export const nightStyle = `
`;
