/** A test by which a promise is kept: its file below `test`, and its title as it stands there. */
export interface Proof {
  file: string;
  title: string;
}

/** What users rely on, and the tests that fail when it does not hold. */
export interface PromiseRow {
  promise: string;
  /** Empty: not proved yet. */
  proofs: readonly Proof[];
}

const proof = (file: string, title: string): Proof => ({ file, title });

/** Whatever Lamella says about a picture is true there, and nothing that it was not given to change is changed. */
export const promiseTable: readonly PromiseRow[] = [
  {
    promise: 'The desk shows and opens nothing outside of its folders, to nobody but its own page',
    proofs: [
      proof('desk/guard.test.ts', '%s %s answers only to its own page, under the token'),
      proof('desk/guard.test.ts', 'an entrance leads in once'),
      proof('desk/page.test.ts', 'is small, paints soon, and asks nobody else'),
    ],
  },
  {
    promise: 'What the desk merges goes on without its page, and what is cancelled there leaves nothing',
    proofs: [
      proof(
        'desk/page.test.ts',
        'goes on merging when the page is closed, and shows it when it is opened again',
      ),
      proof('desk/merge.test.ts', 'that is cancelled leaves nothing, and what waits behind it goes on'),
      proof('desk/night.test.ts', 'a night that is stopped keeps what is finished, and goes on'),
    ],
  },
  {
    promise: 'Who never saw a terminal merges the sample in six presses and mends it in six more',
    proofs: [
      proof(
        'desk/newcomer.test.ts',
        'comes from the started page to a merged picture of the sample in six clicks',
      ),
      proof('desk/newcomer.test.ts', 'and to a mended one in six more'),
    ],
  },
  {
    promise:
      'What is shown of a picture while it is blended is what is blended so far, and changes nothing of it',
    proofs: [
      proof(
        'blend/picture-so-far.test.ts',
        'the picture grows towards the truth frame by frame, and ends as the composite made small',
      ),
      proof('blend/picture-so-far.test.ts', 'nothing of the result depends on whether somebody looks'),
    ],
  },
  {
    promise: 'A preview is the whole merge at a part of the size, and is marked as one wherever it shows',
    proofs: [
      proof('merge/preview.test.ts', 'is the merge of the frames reduced by block means, pixel by pixel'),
      proof(
        'merge/preview.test.ts',
        'stands beside the folder under a name of its own and marks every picture, record and report',
      ),
      proof('merge/preview.test.ts', 'is called a preview on the terminal, before and after'),
      proof('merge/preview.test.ts', 'is shown with its reduced frames, at any scale'),
    ],
  },
  {
    promise: 'Raw files are developed alike, in colours by their own matrices, and merged like other frames',
    proofs: [
      proof(
        'stack/raw/development.test.ts',
        'are those that the matrices of the DNG specification give, in each colour space',
      ),
      proof(
        'stack/raw/development.test.ts',
        'are developed alike, whatever each says of its white, and no brightness is evened out',
      ),
      proof('stack/raw/development.test.ts', 'take black and white level from the anchor'),
      proof('merge/raw-merge.test.ts', 'shows the scene as if every part had been sharp'),
      proof(
        'merge/raw-merge.test.ts',
        'holds 16 bits with the profile of its colour space and the EXIF of the anchor',
      ),
      proof('merge/raw-merge.test.ts', 'is traced by its raw files, developed once more as they were merged'),
    ],
  },
  {
    promise: 'Of a raw file and a JPEG of the same name one is used, and which is said',
    proofs: [
      proof('stack/raw/twins.test.ts', 'is used, which is said'),
      proof('stack/raw/twins.test.ts', 'gives way where the JPEG is preferred, which is said'),
      proof(
        'stack/raw/twins.test.ts',
        'gives way with all others where one of them cannot be read, for frames must be alike',
      ),
    ],
  },
  {
    promise:
      'Small pictures of raw files are the previews in them; without one the file is developed at half its size',
    proofs: [
      proof('check/strip-pictures.test.ts', 'the strip shows of a raw file %s'),
      proof('desk/places.test.ts', 'of a camera raw file is the preview that is in it, upright'),
      proof('desk/places.test.ts', 'of a camera raw file with %s is developed at half its size'),
    ],
  },
  {
    promise: 'A raw file that cannot be developed is named, with what to do',
    proofs: [
      proof('stack/read-stack.test.ts', 'are known by name and by content, and named with what to do'),
      proof(
        'stack/raw/development.test.ts',
        'that is damaged is named when it is developed, with what to do',
      ),
      proof('stack/raw/missing-samples.test.ts', 'keep a file out of the stack, with what to do'),
      proof('stack/raw/development.test.ts', 'is named, with what to do'),
      proof(
        'stack/raw/not-installed.test.ts',
        'raw files are refused with the package to install where LibRaw is not installed',
      ),
    ],
  },
  {
    promise: 'Developed frames are kept for the merge alone, also when it is killed',
    proofs: [
      proof(
        'merge/raw-merge.test.ts',
        'leaves nothing in the scratch folder, and removes what a killed process left there',
      ),
    ],
  },
  // The evidence of a picture.
  {
    promise: 'The rim beyond the sharp frames has a coverage class and a confidence of its own',
    proofs: [
      proof('merge/out-of-reach.test.ts', 'is out of reach where no frame that is sharp there sees it'),
      proof('merge/out-of-reach.test.ts', 'is never covered there, of plain ground neither'),
      proof(
        'merge/out-of-reach.test.ts',
        'is told with its share on the terminal and in the report, and cut off unless told otherwise',
      ),
      proof('merge/framing.test.ts', 'is what every frame reaches with room to resample it, and hardly less'),
    ],
  },
  {
    promise: 'Depth is not invented where the frames that could be sharp do not reach',
    proofs: [
      proof('merge/out-of-reach.test.ts', 'has no confidence and no invented depth there'),
      proof('merge/out-of-reach.test.ts', 'is not claimed by a trace'),
      proof(
        'kernels/frame-bounds.test.ts',
        'marks curves whose best or second frame is the last that reaches: %s',
      ),
    ],
  },
  {
    promise: 'Check, merge, report, batch and night table judge alike, in the same words and figures',
    proofs: [
      proof('merge/one-judge.test.ts', '%s, and so do run.json and report.html'),
      proof('merge/one-judge.test.ts', 'a merge says what spoils its picture, and ends with the verdict'),
      proof('batch/night-page.test.ts', 'is no plain "done" in the table'),
    ],
  },
  {
    promise: 'A flicker that the merge evens out is a flaw, not unfit',
    proofs: [
      proof(
        'merge/one-judge.test.ts',
        'a flicker that a merge evens out is a flaw: the stack is fit to merge',
      ),
    ],
  },
  {
    promise: 'Which end is near is told by the pictures, and unknown where they do not tell',
    proofs: [
      proof(
        'merge/near-end.test.ts',
        'are told to run near-to-far, by merge and check alike, without a word about --direction',
      ),
      proof(
        'merge/near-end.test.ts',
        'by %s per cent has no known direction, and a rail is said as a condition',
      ),
      proof('merge/near-end.test.ts', 'is merged with nothing that rests on a direction, and that is said'),
    ],
  },
  {
    promise: 'A frame without a plane of focus in it is not called shaken',
    proofs: [
      proof('rail/shake.test.ts', 'has no shaken frame: blur %d px a step, subject at %d'),
      proof('rail/shake.test.ts', 'reports a frame that is shaken: index %i'),
    ],
  },
  {
    promise: 'Three thousand frames are placed right, and more than can be done is refused first',
    proofs: [
      proof(
        'merge/long-stack.test.ts',
        'has depth, sources and coverage right from the first frame to the last',
      ),
      proof('stack/frame-limit.test.ts', 'is refused by merge and check before its pixels are read'),
      proof('stack/frame-limit.test.ts', 'is refused by plan, which knows the same limit'),
    ],
  },
  {
    promise: 'Frames too large for the memory are refused from their headers',
    proofs: [
      proof('merge/memory-need.test.ts', 'are refused by merge from the headers, and by the plan of a batch'),
    ],
  },
  {
    promise:
      'Frames may be of any size that memory holds: beyond 4 GiB the same bytes are made in several memories',
    proofs: [
      proof(
        'merge/row-bands.test.ts',
        'is the picture that one memory makes, byte for byte: %s, %i bits, %s, %s, %i threads',
      ),
      proof(
        'merge/row-bands.test.ts',
        'takes no more memories than it needs, and of none more than it holds',
      ),
      proof('kernels/kernel-rows.test.ts', 'no kernel reads rows beyond those that are stated'),
      proof('merge/memory-need.test.ts', 'are merged, however large, where there is memory for them'),
    ],
  },
  {
    promise: '--memory is a bound, and the estimate counts threads and frames',
    proofs: [
      proof('merge/memory-need.test.ts', 'bounds what the process takes: %s'),
      proof('merge/memory-need.test.ts', 'grows with threads, frames, pixels and bits'),
    ],
  },
  {
    promise: 'A frame exchanged while a merge runs is noticed',
    proofs: [
      proof('merge/exchanged-frame.test.ts', '$change in the stage $stage, ends it with nothing written'),
    ],
  },

  // What was lost or overwritten.
  {
    promise:
      'Lengths, angles, volumes and roughness of bodies of known size are right within their uncertainty',
    proofs: [
      proof('measure/measure-result.test.ts', 'distance in space, across and in the picture'),
      proof(
        'measure/measure-result.test.ts',
        'angles within half a degree: of a roof, and of the flanks of a cone',
      ),
      proof('measure/measure-result.test.ts', 'the radius of a sphere within 1 %'),
      proof('measure/measure-result.test.ts', '%s: within a tenth of a step of the rail'),
      proof(
        'measure/measure-result.test.ts',
        'of a sine of amplitude A: Ra and Sa are 2 A / pi, Rq and Sq A / sqrt 2',
      ),
    ],
  },
  {
    promise: 'A length that cannot be known is not made up, and the reason is said',
    proofs: [
      proof(
        'measure/measure-result.test.ts',
        'without a scale lengths are in pixels and steps, and none in mm',
      ),
      proof(
        'measure/measure-result.test.ts',
        'no confidence, no depth, NaN: the value is missing and says why',
      ),
      proof('measure/measure-result.test.ts', 'below the errors of depth cannot be known'),
    ],
  },
  {
    promise: 'What is exported for a retoucher is what the picture was made of',
    proofs: [
      proof(
        'export/export-result.test.ts',
        'show the subject where the composite has it, in its light, and carry the profile byte for byte',
      ),
      proof(
        'export/export-result.test.ts',
        'hold each frame whole, with what it supplied as alpha, so that painting alpha brings it in anywhere',
      ),
      proof(
        'export/export-result.test.ts',
        'of all frames is the composite itself, byte for byte, and of a part is its own',
      ),
    ],
  },
  {
    promise: 'No output file takes the place of a photograph or of a part of a result',
    proofs: [
      proof(
        'cli/output-target.test.ts',
        'a photograph or a part of a result, with or without --overwrite, by whatever path',
      ),
      proof('cli/output-target.test.ts', 'what a folder of photographs holds that the command does not read'),
      proof(
        'cli/output-target.test.ts',
        'a result whose run.json is gone, or the photographs that were moved',
      ),
      proof('cli/output-target.test.ts', 'anything, when a program asks for it'),
      proof(
        'result/result-folder.test.ts',
        'a new result never lies in another one, which goes as a whole when it is merged anew',
      ),
    ],
  },
  {
    promise: '--overwrite replaces only an earlier file of that kind by Lamella',
    proofs: [
      proof('cli/output-target.test.ts', 'another file of the same ending, a folder, a link or a pipe'),
      proof(
        'cli/output-target.test.ts',
        'an earlier sheet of the same kind is replaced when it may be, and nothing is left beside it',
      ),
    ],
  },
  {
    promise: 'Undoing mends verifies size and hash of every file of the merge before anything moves',
    proofs: [
      proof('mend/damaged-unmended.test.ts', '%s, changes nothing and ends with exit code 3'),
      proof('mend/damaged-unmended.test.ts', 'gone with all the others, changes nothing either'),
      proof(
        'mend/damaged-unmended.test.ts',
        'of a result mended by an earlier program, which recorded no hashes, files are read to their end',
      ),
      proof(
        'mend/damaged-unmended.test.ts',
        'size and hash of what is put aside are in run.json, and stay the same over further mends',
      ),
    ],
  },
  {
    promise: 'A stray picture does not change the order of the frames, nor a counter that rolled over',
    proofs: [
      proof(
        'stack/read-stack.test.ts',
        'are given by the frames of the stack: a stray screenshot has no say, and comes last',
      ),
      proof('stack/capture-order.test.ts', 'follows a counter that rolled over by the names alone'),
    ],
  },
  {
    promise: 'A merge that leaves out more than a fifth of the frames does not look like a success',
    proofs: [
      proof(
        'merge/one-judge.test.ts',
        'one that leaves out more than a fifth of the frames does not look like a success',
      ),
      proof(
        'batch/merged-but-look.test.ts',
        'is no success where more than a fifth of the frames is left out: exit code 6',
      ),
    ],
  },
  {
    promise: 'A batch run again does not count a result whose files are gone or cut short',
    proofs: [
      proof('batch/run-batch.test.ts', 'of which %s is merged again, and that is said'),
      proof(
        'batch/run-batch.test.ts',
        'that was mended counts as before, and so does one of which the mends were taken back',
      ),
    ],
  },

  // The queue and the night.
  {
    promise: 'A stack counts as done only when its result was found in OUT',
    proofs: [
      proof(
        'batch/queue-answers.test.ts',
        'a stack counts as done only when its result is found: not when the worker has another disk',
      ),
      proof('batch/run-batch.test.ts', 'that is reported as good and %s is a failure'),
      proof('batch/worker-bounds.test.ts', 'whose photographs %s only to say that'),
    ],
  },
  {
    promise: 'Stacks that the queue has lost are handed in again, and that is said',
    proofs: [
      proof(
        'batch/queue-answers.test.ts',
        'a server that is restarted without its data gets the stacks once more, and that is said',
      ),
    ],
  },
  {
    promise: 'Answers of workers and jobs of the queue are checked for shape',
    proofs: [
      proof(
        'batch/queue-answers.test.ts',
        'whatever comes back for a stack fails that stack and no other, and none is lost',
      ),
      proof(
        'batch/queue-answers.test.ts',
        'of any kind is read or refused, and what is read can be shown and recorded',
      ),
      proof('batch/worker-bounds.test.ts', 'for no garbage but what means the same'),
      proof('batch/damaged-list.test.ts', 'cannot take the place of what the list says itself'),
    ],
  },
  {
    promise: 'Worker and batch of different versions notice each other',
    proofs: [
      proof('batch/queue-answers.test.ts', 'a worker of another version is noticed'),
      proof('batch/worker-bounds.test.ts', 'of another version only to say so'),
    ],
  },
  {
    promise: 'A damaged journal means work again, never failing',
    proofs: [
      proof(
        'batch/damaged-list.test.ts',
        'with any part of any line replaced by any value is read without failing',
      ),
      proof('batch/damaged-list.test.ts', '(%s) means work again: neither batch nor --status fails'),
    ],
  },
  {
    promise: 'A worker reads and writes only below the folders that it was given',
    proofs: [
      proof('batch/worker-bounds.test.ts', 'but not where %s'),
      proof(
        'batch/worker-bounds.test.ts',
        'touches nothing that it was not given, lives on, and merges what a batch hands out',
      ),
      proof(
        'batch/worker-bounds.test.ts',
        '%s that the batch did not write is not, unless the batch was told to',
      ),
    ],
  },
  {
    promise: 'The password of the queue can come from the environment or a file',
    proofs: [
      proof(
        'cli/queue-address.test.ts',
        'comes from a file, else from the environment, and else there is none',
      ),
    ],
  },
  {
    promise: 'Links out of ROOT are not followed without being asked',
    proofs: [
      proof(
        'batch/find-stacks.test.ts',
        'are not searched for behind links that lead out of the root, unless that is asked for',
      ),
      proof('batch/find-stacks.test.ts', 'that hold a link out of the root (%s) are told, and not merged'),
    ],
  },

  // Told wrongly, or hung.
  {
    promise: 'A lack of memory, space or file handles is told as such, not as a defect',
    proofs: [
      proof('cli/system-failure.test.ts', 'tells %s by %s'),
      proof('cli/system-failure.test.ts', 'a working folder that was removed'),
      proof('cli/system-failure.test.ts', 'a folder of temporary files that is not there'),
      proof('cli/system-failure.test.ts', '(%s) is named as damaged'),
    ],
  },
  {
    promise: 'A pipe or device under the name of a file is refused, and the size of small files bounded',
    proofs: [
      proof('stack/regular-file.test.ts', 'is refused by its kind, instead of being waited for'),
      proof('batch/night-log.test.ts', 'neither waits for a pipe in its place nor writes where a link leads'),
      proof('stack/regular-file.test.ts', 'under the name %s in a result ends %j with a message'),
      proof(
        'stack/regular-file.test.ts',
        'given as --positions, or as lamella.json of a stack, ends the command with a message',
      ),
      proof(
        'stack/regular-file.test.ts',
        'is read whole up to the bound, and refused beyond it before it is read',
      ),
      proof('stack/regular-file.test.ts', 'that is a run.json of a terabyte is named as too large'),
    ],
  },
  {
    promise: 'File names are names, whatever they end in, and those that are no UTF-8 work or are named',
    proofs: [
      proof('stack/odd-names.test.ts', 'are names, and no options of the image library'),
      proof('stack/odd-names.test.ts', 'is named as such where the frame is left out'),
    ],
  },
  {
    promise: 'A page is answered while its result is saved, by itself or by another program',
    proofs: [
      proof('view/while-saving.test.ts', 'by the page itself'),
      proof('view/while-saving.test.ts', 'by another program'),
      proof(
        'view/while-saving.test.ts',
        'maps that are replaced while they are read stay open until they have been',
      ),
      proof('mend/mended-at-once.test.ts', 'a page over a result that was merged anew is not saved into it'),
    ],
  },
  {
    promise: 'A preview is given up when its page is gone',
    proofs: [
      proof(
        'view/while-saving.test.ts',
        'is given up when its page is gone, and the next one does not wait for it',
      ),
      proof('view/while-saving.test.ts', 'rejects at once when nobody waits for it any more'),
    ],
  },
  {
    promise: 'Two mends of one id are refused, and none is lost',
    proofs: [proof('view/while-saving.test.ts', 'two mends of one id are refused by %s, and none is lost')],
  },
  {
    promise: 'The sheet of a plan serves as positions, its columns read by name',
    proofs: [
      proof(
        'rail/positions-file.test.ts',
        'with %j gives its positions, as it is, ticked off, or saved by a spreadsheet',
      ),
      proof(
        'rail/positions-file.test.ts',
        'and other tables are read by the names of their columns, in their unit',
      ),
    ],
  },
  {
    promise:
      'The log of a motor rail serves as positions, in mm, µm or steps, and what is not understood is refused',
    proofs: [
      proof('rail/positions-file.test.ts', 'is read as it is: %s'),
      proof('rail/positions-file.test.ts', 'that is not understood is refused with what was found: %j'),
      proof(
        'rail/positions-file.test.ts',
        'shape the depth in steps, of which one is the mean; a file by either option',
      ),
    ],
  },
  {
    promise: 'Check gives its verdict first, with files, counts, positions in mm and turns of the knob',
    proofs: [
      proof(
        'check/check-stack.test.ts',
        'is fit to merge: exit code 0, the verdict first, a table of frames where it is asked for',
      ),
      proof(
        'check/check-stack.test.ts',
        'in its step names the files, counts what is missing, and says where it belongs',
      ),
      proof(
        'check/check-stack.test.ts',
        'at its end is reported with the missing travel, in mm and in turns, from positions as from a step',
      ),
      proof(
        'check/check-stack.test.ts',
        'learns how its step compares with the one that its frames ask for, and with that of a plan',
      ),
    ],
  },
  {
    promise:
      'A check offers fixes, which a merge takes as options: frames to leave out, the order, the direction',
    proofs: [
      proof('check/check-stack.test.ts', 'leaving out what was copied twice'),
      proof('check/check-stack.test.ts', 'the other order, where names and times differ'),
      proof(
        'merge/merge-result.test.ts',
        'go by the order that is given, and by time only where every photograph has one',
      ),
    ],
  },
  {
    promise:
      'A watch judges each frame once, when its file is whole, and takes back what later frames disprove',
    proofs: [
      proof('watch/watch.test.ts', 'are judged once each, and the end says what a check says'),
      proof('watch/watch.test.ts', 'that arrives in pieces is judged when it is whole, and not before'),
      proof(
        'watch/watch.test.ts',
        'that is renamed or whose EXIF is edited is not judged again; one that is exchanged is',
      ),
      proof(
        'watch/watch.test.ts',
        'say where a step was missed, and take it back when the frame comes after all',
      ),
      proof('desk/shoot-screen.test.ts', 'goes from a folder to the verdict on its frames, by presses alone'),
      proof('watch/faults.test.ts', '%s is named at the frame at which it can be known, or the next'),
    ],
  },
  {
    promise:
      'The desk draws a plan to scale and moves it as a value is dragged; its sheet prints with a row for each frame',
    proofs: [
      proof(
        'plan/drawing.test.ts',
        'is to scale of 1/distance: each frame from where it is sharp to where it ends, its overlap with the next',
      ),
      proof(
        'desk/plan-screen.test.ts',
        'draws a landscape too, and moves what the frames show sharp while the nearest thing is dragged',
      ),
      proof(
        'plan/slabs.test.ts',
        'cover the subject from front to back, each the asked share of the one before',
      ),
      proof(
        'plan/drawing.test.ts',
        'is to scale: ticks a step apart on the ruler, slabs as thick as the depth of field',
      ),
      proof(
        'desk/plan-screen.test.ts',
        'moves the slabs while a value is dragged: by slider, by key and over the curve',
      ),
      proof('desk/plan-screen.test.ts', 'prints the sheet and nothing else, with a row for each frame'),
    ],
  },
  {
    promise: 'Verdicts on the desk lead to their frames, and their fixes go on to the merge',
    proofs: [
      proof('desk/check-screen.test.ts', 'goes from a verdict to its frame, and through the strip by keys'),
      proof(
        'desk/check-screen.test.ts',
        'carries fixes over: to the merge, and to the check that follows, where their verdicts are gone',
      ),
    ],
  },
  {
    promise: 'Both ends of a landscape, the horizon too, are as sharp as what lies between its frames',
    proofs: [
      proof(
        'optics/focus-distances.test.ts',
        'blurs neither end, the horizon among them, more than what lies halfway between frames, traced through a thin lens',
      ),
      proof('plan/plan.test.ts', 'of 24 mm at f/8, c 0.030: hyperfocal at 2.42 m (f²/(N c) + f)'),
    ],
  },
  {
    promise: 'Whole marks are rounded either way while frames overlap',
    proofs: [
      proof('plan/plan.test.ts', '%f at the recommended step: %s are advised, which still overlap'),
      proof(
        'plan/plan.test.ts',
        'are not rounded up into a gap, nor advised where one alone leaves gaps or the step is whole',
      ),
    ],
  },
  {
    promise: 'No aperture is recommended that the lens has not',
    proofs: [
      proof(
        'plan/plan.test.ts',
        'is none that the lens has not: a macro lens of f/2.8 is not told to open further',
      ),
    ],
  },
  {
    promise: 'Numbers are understood with their units, and a unit of another kind is refused',
    proofs: [
      proof('options/read-quantity.test.ts', '%j of an option in %s is %d'),
      proof('options/read-quantity.test.ts', '%j of an option in %s is none'),
      proof('options/read-quantity.test.ts', 'is understood by every option of a merge that has a unit'),
      proof('cli/plan.test.ts', 'are read the way photographers write'),
      proof('cli/plan.test.ts', '%s %s is refused by what was typed'),
    ],
  },

  // The page.
  {
    promise: 'Distance and section are set by two clicks',
    proofs: [
      proof(
        'view/page-use.test.ts',
        'two clicks set a distance and a section, as dragging does, and a line follows the pointer',
      ),
    ],
  },
  {
    promise: 'The focus curve stands at the right frames after the window changed its size',
    proofs: [
      proof(
        'view/page-use.test.ts',
        'after the window has changed its size the focus curve stands at its frames',
      ),
    ],
  },
  {
    promise: 'Stepping through frames keeps the last picture until the next is there',
    proofs: [
      proof(
        'view/page-use.test.ts',
        'stepping through frames keeps the last picture until the next is there, reads ahead and names the file',
      ),
    ],
  },
  {
    promise: 'Mend offers no frame that it then refuses, and redo only what was undone',
    proofs: [
      proof('view/page-use.test.ts', 'Mend offers the frames that it will accept, and no others'),
      proof(
        'view/page-use.test.ts',
        'a mend that is refused was never done: nothing to redo, nothing to save',
      ),
    ],
  },

  {
    promise: 'The feather that is proposed follows the region',
    proofs: [proof('view/page-use.test.ts', 'the feather that is proposed follows the size of the region')],
  },
  {
    promise: 'Nothing beyond a stroke and its feather changes, and undoing it brings back every byte',
    proofs: [
      proof(
        'mend/strokes.test.ts',
        'a stroke of $bits bits with feather $feather takes its line from the frame, leaves all beyond, and is undone byte for byte',
      ),
    ],
  },
  {
    promise: 'The same mend by page and by command line gives the same bytes',
    proofs: [
      proof(
        'view/brush-page.test.ts',
        'a stroke saved on the page gives the bytes of the same mend from the command line, and is undone',
      ),
    ],
  },
  {
    promise: 'A region taken by another rule is what that rule makes of the whole stack there',
    proofs: [
      proof(
        'mend/rule-mends.test.ts',
        'a region taken by another rule is what a whole merge by that rule shows there, with its depth and sources',
      ),
    ],
  },
  {
    promise: 'Doubtful places are stepped through and mended by keys alone, and a finger draws a stroke',
    proofs: [
      proof(
        'view/brush-page.test.ts',
        'by keys alone a doubtful place is mended along a hair by another rule',
      ),
      proof('view/brush-page.test.ts', 'a finger draws a stroke'),
      proof(
        'view/doubtful-places.test.ts',
        'every planted place is found, the gravest first, and nothing elsewhere',
      ),
    ],
  },
  {
    promise: 'A distance on the page is the one that the command measures, and is kept in the same way',
    proofs: [
      proof(
        'view/measure-page.test.ts',
        'what is kept on the page is what lamella measure keeps, word for word and value for value',
      ),
    ],
  },
  {
    promise: 'No notice covers a control, and the picture does not jump',
    proofs: [
      proof('view/page-use.test.ts', 'a notice at the start covers no control, at %i x %i'),
      proof(
        'view/page-use.test.ts',
        'the picture stays where it is while tools open, fill and close, at %i x %i',
      ),
    ],
  },
  {
    promise: 'Split begins with two different halves',
    proofs: [
      proof(
        'view/page-use.test.ts',
        'split begins with two different halves: the composite and the frame at the spot',
      ),
    ],
  },
  {
    promise: 'Report and page use the same colours for depth',
    proofs: [
      proof(
        'view/pictures.test.ts',
        'of depth, frames and confidence are the same on the page and in the report',
      ),
    ],
  },
  {
    promise: 'The readout is a live region, and one press shows 100 %',
    proofs: [
      proof(
        'view/page-use.test.ts',
        'the readout is a polite live region whose changing part is hidden from it',
      ),
      proof('view/page-use.test.ts', 'one press shows the picture at 100 %'),
    ],
  },

  // As a package and a library.
  {
    promise: 'The packed program installs into an empty folder, merges, and gives the command lamella',
    proofs: [
      proof('outside/packed.test.ts', 'can be imported, and merges'),
      proof('outside/packed.test.ts', 'is started by npx, and merges'),
      proof('outside/packed.test.ts', 'gives the command lamella'),
      proof('outside/packed.test.ts', 'renders the sample stack of the desk'),
    ],
  },
  {
    promise: 'Packages of the queue are optional and asked for by name when they are needed',
    proofs: [
      proof(
        'outside/packed.test.ts',
        'names the packages that lamella %s needs for --queue, and writes nothing',
      ),
    ],
  },
  {
    promise:
      'The library validates what the command line validates, and errors carry option, range and value',
    proofs: [
      proof('cli/option-errors.test.ts', 'refuses a value of %s by name, range and value: %j'),
      proof('cli/option-errors.test.ts', 'says of a region outside the picture where the picture ends'),
      proof('cli/option-errors.test.ts', 'calls options by their flags: %j'),
    ],
  },
  {
    promise: 'A merge takes pixels and gives pixels, without files',
    proofs: [
      proof(
        'merge/merge-pixels.test.ts',
        'takes each frame once, and its array may be used again for the next',
      ),
    ],
  },
  {
    promise: 'The guide ships with the program and agrees with its options',
    proofs: [
      proof('guide/guide.test.ts', 'has every option of every command in a table'),
      proof('guide/guide.test.ts', 'has up-to-date tables of options on the page %s'),
    ],
  },

  // Under attack.
  {
    promise: 'A killed command leaves the old result whole, or the new one',
    proofs: [
      proof(
        'mend/killed-mend.test.ts',
        'a mend killed at any call to the disk leaves the unmended result whole or the mended one',
      ),
      proof('torture/torture.test.ts', 'kills of every command leave the old result or the new one'),
    ],
  },
  {
    promise: 'Bad inputs end with a message, and hostile requests are not obeyed',
    proofs: [
      proof('torture/torture.test.ts', 'bad inputs of every kind end with a message and change nothing'),
      proof('torture/torture.test.ts', 'hostile requests are refused and the page goes on'),
    ],
  },

  // What is made of the depth.
  {
    promise: 'Lengths of a relief are true: the perspective of the rail is taken out',
    proofs: [
      proof('relief/scale.test.ts', 'come out of pixel and depth as they went in: %f, %f, %f mm'),
      proof('relief/true-shapes.test.ts', 'a sphere has its radius within 1 %, with %i triangles'),
      proof('relief/true-shapes.test.ts', 'a cone has its angle within half a degree'),
      proof(
        'relief/true-shapes.test.ts',
        'a step has its height within a tenth of a step of the rail, and no wall',
      ),
    ],
  },
  {
    promise: 'No millimetre is made up where the scale is not known',
    proofs: [
      proof('relief/scale.test.ts', 'is said to be in pixels and steps, and nothing is in mm'),
      proof(
        'relief/relief.test.ts',
        'without a scale is said to be in pixels and steps, in report and file, and nothing is in mm',
      ),
    ],
  },
  {
    promise: 'A relief is cut at depth edges, and hairs are ribbons of their own',
    proofs: [
      proof('relief/relief.test.ts', 'is cut at them: no triangle reaches from one depth to another'),
      proof(
        'relief/relief.test.ts',
        'has hairs as ribbons of their own, as wide as they are, and leaves nothing uncovered',
      ),
    ],
  },
  {
    promise:
      'Stereo pictures have the parallax of the relief, no more than is comfortable, and show what frames saw',
    proofs: [
      proof(
        'relief/stereo.test.ts',
        'has the parallax of the relief within half a pixel, as OpenCV measures it',
      ),
      proof('relief/stereo.test.ts', 'keeps its parallax within the share of the width that is asked for'),
      proof(
        'relief/stereo.test.ts',
        'shows what the composite hides as the frames saw it, and says so where they are gone',
      ),
    ],
  },
  {
    promise:
      'A graphics processor merges as the processor does, and the processor takes over where it goes away',
    proofs: [
      proof('gpu/merge.test.ts', 'equals that on the processor (%s, surface at half the size from %i px)'),
      proof('gpu/merge.test.ts', 'waits for nothing of the device between frames'),
      proof('gpu/merge.test.ts', 'gives the same bytes again'),
      proof('gpu/merge.test.ts', 'that the device breaks off goes on with the processor (%s)'),
      proof(
        'gpu/merge.test.ts',
        'asked for where it is not: a batch merges on the processor and says so, and a merge is refused',
      ),
      proof(
        'batch/worker-bounds.test.ts',
        'that lacks the graphics processor of a batch merges on the processor, and says so',
      ),
      proof('gpu/merge.test.ts', 'is not begun by itself where the processor plays the device'),
      proof('gpu/device.test.ts', 'is listed, and not taken by itself where the processor plays it'),
    ],
  },
  {
    promise: 'The relief turns in the page, by keys too, and is cut along the rail ruler',
    proofs: [
      proof(
        'view/relief-page.test.ts',
        'is drawn, turns by keys and by the pointer, and says how it is seen',
      ),
      proof(
        'view/relief-page.test.ts',
        'lights the slab of the frames that are held on the ruler, and cuts away what is nearer',
      ),
      proof('view/relief-page.test.ts', 'has no fault of accessibility in %s'),
    ],
  },
  {
    promise: 'Reliefs are read alike by programs of others, and a solid to print is closed',
    proofs: [
      proof('relief/relief.test.ts', 'a .%s is the same to two readers of other makers'),
      proof(
        'relief/relief.test.ts',
        'a .stl with the ground %s is closed: every edge has two triangles, and the volume is right',
      ),
      proof(
        'relief/relief.test.ts',
        'a .glb has no fault for the validator of Khronos, and is in metres, with the picture, seen from both sides',
      ),
    ],
  },
];
