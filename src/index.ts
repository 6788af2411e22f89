export type { BatchEvent } from './batch/batch-events.js';
export type { BatchOptions } from './batch/batch-options.js';
export { readStatus } from './batch/night-status.js';
export { type BatchHooks, type BatchOutcome, dryRun, runBatch } from './batch/run-batch.js';
export { type CheckedFrame, type CheckHooks, type CheckReport, check } from './check/check.js';
export type { CheckOptions } from './check/check-options.js';
export type { Finding, FindingKind, FindingRank } from './check/finding.js';
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
export {
  type ApplyOptions,
  type ApplyOutcome,
  applyMends,
  type EditMends,
  editMends,
} from './mend/apply-mends.js';
export type { MendRegion } from './mend/mend-region.js';
export { type Mend, type MendsRecord, readMends } from './mend/mends-file.js';
export { undoMends } from './mend/undo-mends.js';
export { merge } from './merge/merge.js';
export type { MergeFunction, MergeHooks, MergeOutcome } from './merge/merge-api.js';
export type { MergeEvent, MergeOptions, MergeStage, MotionModel, SourceRule } from './merge/options.js';
export { resolveOptions } from './merge/resolve-options.js';
export type { FocusFrame, LandscapePlan } from './plan/landscape-plan.js';
export { type Plan, plan } from './plan/plan.js';
export type { PlanOptions, SensorSize } from './plan/plan-options.js';
export { planSheet } from './plan/sheet.js';
export type { StackPlan } from './plan/stack-plan.js';
export type { CoverageClassName } from './result/coverage.js';
export { readResult } from './result/read-result.js';
export { readRunRecord } from './result/read-run-record.js';
export type { RunFrame, RunRecord } from './result/run-record.js';
export type { Direction, DirectionSource, GivenDirection } from './stack/focus-direction.js';
export type { FrameExif, FrameFile, Stack } from './stack/frame.js';
export { readStack } from './stack/read-stack.js';
export { writeContactSheet } from './trace/contact-sheet.js';
export type { PictureRegion } from './trace/picture-region.js';
export { type FocusCurve, type TraceOptions, type TraceReport, traceRegion } from './trace/trace.js';
export { type Served, type ServeOptions, serveResult } from './view/serve.js';
