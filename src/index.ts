export type { BatchEvent } from './batch/batch-events.js';
export type { BatchOptions } from './batch/batch-options.js';
export type { EndState } from './batch/night-events.js';
export { type NightStatus, readStatus } from './batch/night-status.js';
export { type BatchHooks, type BatchOutcome, dryRun, runBatch } from './batch/run-batch.js';
export type { SmallPicture } from './blend/picture-so-far.js';
export { type CheckHooks, check } from './check/check.js';
export type { CheckOptions, KnobOptions } from './check/check-options.js';
export type { CheckedFrame, CheckReport } from './check/check-report.js';
export type { CoverageShares } from './check/coverage-findings.js';
export type { StripPicture } from './check/strip-pictures.js';
export {
  exitCodes,
  InputError,
  InterruptedError,
  LamellaError,
  type OptionFault,
  OutputError,
  SystemError,
  type SystemFault,
  UsageError,
} from './errors.js';
export type { ExportOptions } from './export/export-options.js';
export type { ExportedDepth, ExportedFrame, ExportedRun, ExportRecord } from './export/export-record.js';
export { type ExportHooks, type ExportOutcome, exportResult } from './export/export-result.js';
export type { PixelData, Size } from './image/image.js';
export type { Matrix3 } from './image/transform.js';
export {
  editMeasures,
  type MeasureEdits,
  type MeasuresOutcome,
} from './measure/edit-measures.js';
export type { MeasureOptions } from './measure/measure-options.js';
export { type Measured, measureResult } from './measure/measure-result.js';
export type { Profile, ProfileSample } from './measure/profile.js';
export { type ScaleBar, type ScaleBarOptions, writeScaleBar } from './measure/scale-bar.js';
export {
  type ApplyOptions,
  type ApplyOutcome,
  applyMends,
  type EditMends,
  editMends,
} from './mend/apply-mends.js';
export type { AreaRegion, MendRegion, StrokeRegion } from './mend/mend-region.js';
export { type Mend, type MendsRecord, readMends } from './mend/mends-file.js';
export { merge } from './mend/merge.js';
export { undoMends } from './mend/undo-mends.js';
export { type FoundDevice, type FoundDevices, findDevices } from './merge/find-devices.js';
export type { GrowingPicture, MergeFunction, MergeHooks, MergeOutcome } from './merge/merge-api.js';
export type { MergeEvent, MergeStage } from './merge/merge-event.js';
export {
  type MergedFrame,
  type MergedPixels,
  mergePixels,
  type PixelMergeOptions,
} from './merge/merge-pixels.js';
export type { FramePixels } from './merge/spool-frame.js';
export type { DepthLimits } from './optics/depth-of-field.js';
export type { MergeOptions } from './options/merge-options.js';
export type { MotionModel } from './options/motion-model.js';
export { resolveOptions } from './options/resolve-merge-options.js';
export type { SourceRule } from './options/source-rule.js';
export type { ApertureChoice, BestAperture } from './plan/best-aperture.js';
export type { PlanDepth } from './plan/depth.js';
export type { PlanEffort } from './plan/effort.js';
export type { FocusFrame, LandscapePlan } from './plan/landscape-plan.js';
export type { PlanLens } from './plan/lens.js';
export { type Plan, plan } from './plan/plan.js';
export type { PlanOptions, SensorSize } from './plan/plan-options.js';
export type { Knob, RailPosition } from './plan/rail.js';
export type { PlanCircle, PlanSensor } from './plan/sensor.js';
export type { PlanSharpness } from './plan/sharpness.js';
export { planSheet, type SheetFormat } from './plan/sheet.js';
export type { StackPlan } from './plan/stack-plan.js';
export { type FramePositions, type PositionsFacts, readPositionsFile } from './rail/positions-table.js';
export type { SensorSpot } from './rail/sensor-spot.js';
export { type LoopReport, makeLoop } from './relief/loop.js';
export { type LoopKind, type LoopOptions, loopKinds } from './relief/loop-options.js';
export type { Ground } from './relief/read-surface.js';
export { makeRelief, type ReliefReport } from './relief/relief.js';
export type { ReliefFormat, ReliefOptions } from './relief/relief-options.js';
export { type LengthUnit, type ResultScale, resultScale } from './relief/scale.js';
export type { ScaleOptions } from './relief/scale-options.js';
export { makeStereo, type StereoReport } from './relief/stereo.js';
export { type StereoLayout, type StereoOptions, stereoLayouts } from './relief/stereo-options.js';
export { type CoverageClassName, coverageClassNames } from './result/coverage.js';
export type { Finding, FindingFix, FindingKind, FindingRank } from './result/finding.js';
export {
  type MeasureKind,
  type MeasureRequest,
  type Quantity,
  type QuantityUnit,
  readMeasures,
  type StoredMeasure,
} from './result/measures-file.js';
export { type Result, readResult } from './result/read-result.js';
export { readRunRecord } from './result/read-run-record.js';
export type { MeasurePoint, MeasureRegion } from './result/region-shape.js';
export type {
  CompositeRecord,
  CoverageClassRecord,
  CropRectangle,
  DepthPngRecord,
  DepthRecord,
  DepthUnit,
  MapsRecord,
  RunFrame,
  RunRecord,
} from './result/run-record.js';
export type { Picture } from './result/write-composite.js';
export type { ResultMaps } from './result/write-maps.js';
export type { GivenOrder } from './stack/capture-order.js';
export type {
  Direction,
  DirectionEvidence,
  DirectionSource,
  GivenDirection,
  Growth,
  KnownDirection,
  PictureEvidence,
} from './stack/focus-direction.js';
export type {
  FrameExif,
  FrameFile,
  FrameReduction,
  PreviewFactor,
  Stack,
  StackNote,
  StackNoteKind,
} from './stack/frame.js';
export type { ColourSpace } from './stack/raw/colour-space.js';
export type { DevelopedFrames } from './stack/raw/developed-frames.js';
export type { Development, FileWhite, WhiteBalance } from './stack/raw/development.js';
export type { RawFile } from './stack/raw/raw-file.js';
export type { DevelopedPixels, SensorCrop } from './stack/raw/raw-jobs.js';
export type { PreferredTwin } from './stack/raw/settle-raws.js';
export { type ReadStackOptions, readStack } from './stack/read-stack.js';
export { type ContactSheetOptions, writeContactSheet } from './trace/contact-sheet.js';
export type { PictureRegion } from './trace/picture-region.js';
export {
  type FocusCurve,
  type TracedSource,
  type TraceOptions,
  type TraceReport,
  traceRegion,
} from './trace/trace.js';
export { type Served, type ServeOptions, serveResult } from './view/serve.js';
export { type WatchHooks, type WatchReport, watch } from './watch/watch.js';
export type { FrameVerdict, SubjectCoverage, WatchEvent } from './watch/watch-events.js';
export type { WatchOnlyOptions, WatchOptions } from './watch/watch-options.js';
