package statistic

import "gonum.org/v1/gonum/stat/distuv"

// NormalQuantile returns the standard normal value below which a share p lies.
func NormalQuantile(p float64) float64 { return distuv.UnitNormal.Quantile(p) }

// StudentQuantile returns the value below which a share p of Student's t with
// so many degrees of freedom lies.
func StudentQuantile(p, freedom float64) float64 {
	return distuv.StudentsT{Sigma: 1, Nu: freedom}.Quantile(p)
}
