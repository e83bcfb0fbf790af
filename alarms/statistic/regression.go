package statistic

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// A Fit is a linear model fitted by least squares.
type Fit struct {
	Coeff      []float64 // in the order of the columns
	SE         []float64 // standard errors, of residuals that are independent
	ResidualSD float64
	N          int
}

// LeastSquares fits y to the columns of rows: one row for each y, one number
// a row for each coefficient; a constant is a column of ones. Answers false
// without more rows than columns, or when columns say the same.
func LeastSquares(rows [][]float64, y []float64) (Fit, bool) {
	n := len(y)
	if n == 0 || len(rows) != n || n <= len(rows[0]) {
		return Fit{}, false
	}
	k := len(rows[0])
	design := mat.NewDense(n, k, nil)
	for i, row := range rows {
		design.SetRow(i, row)
	}
	var qr mat.QR
	qr.Factorize(design)
	if qr.Cond() > 1e12 {
		return Fit{}, false
	}
	var coeff mat.VecDense
	if qr.SolveVecTo(&coeff, false, mat.NewVecDense(n, y)) != nil {
		return Fit{}, false
	}
	f := Fit{Coeff: coeff.RawVector().Data, N: n}
	f.judge(rows, y)
	f.errors(&qr, k)
	return f, true
}

// judge works out what the fit leaves.
func (f *Fit) judge(rows [][]float64, y []float64) {
	left := 0.0
	for i, row := range rows {
		r := y[i] - f.At(row)
		left += r * r
	}
	f.ResidualSD = math.Sqrt(left / float64(len(y)-len(f.Coeff)))
}

// errors works out the standard errors from R: (XᵀX)⁻¹ = R⁻¹·R⁻ᵀ.
func (f *Fit) errors(qr *mat.QR, k int) {
	var full mat.Dense
	qr.RTo(&full)
	r := mat.NewTriDense(k, mat.Upper, nil)
	for i := range k {
		for j := i; j < k; j++ {
			r.SetTri(i, j, full.At(i, j))
		}
	}
	var inverse mat.TriDense
	_ = inverse.InverseTri(r) // the condition was judged before
	f.SE = make([]float64, k)
	for i := range k {
		sum := 0.0
		for j := i; j < k; j++ {
			sum += inverse.At(i, j) * inverse.At(i, j)
		}
		f.SE[i] = f.ResidualSD * math.Sqrt(sum)
	}
}

// At returns what the model gives for a row.
func (f *Fit) At(row []float64) float64 {
	sum := 0.0
	for i, c := range f.Coeff {
		sum += c * row[i]
	}
	return sum
}
