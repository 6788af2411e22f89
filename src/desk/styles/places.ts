/** Rules of the places screen; each begins with `.of-places`. */
export const placesStyle = `
`;
