/** Rules of the guide screen; each begins with `.of-guide`. */
export const guideStyle = `
`;
