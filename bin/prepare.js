// Called by npm before it packs or links this folder, and after an installation: builds, and installs the compilers
// first where nothing was installed yet, so that `npm pack` and `npm install -g .` do for a fresh clone.
import { build, install, isInstalled, isWithinSetUp } from './setup.js';

// The installation ends with this script again, which then builds.
if (isInstalled() || isWithinSetUp()) build();
else install();
