// Package statistic holds the statistics that judge a slow fault: control
// charts, a local level, regression, robust centre and spread, trend and
// change point, and the quantiles that turn an error into limits.
//
// It is pure. Charts keep their state with the caller, in a few numbers, so
// that millions of points can have one. Nothing here divides by a spread that
// may be zero: robust spreads have a floor. Each function is tested against
// values that others have published, named beside them.
package statistic
