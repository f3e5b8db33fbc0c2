package seatrial

import (
	"gonum.org/v1/gonum/mat"
)

// covariance of A to E, which come first in an inverse.
func covariance(inverse *mat.SymDense, variance float64) (c [5][5]float64) {
	for i := range c {
		for j := range c {
			c[i][j] = variance * inverse.At(i, j)
		}
	}
	return c
}

// fitted is a least-squares solution.
type fitted struct {
	solution  []float64
	inverse   *mat.SymDense // (XᵀX)⁻¹
	residuals []float64
	squares   float64
}

// worstCondition is where a fit says nothing any more: its headings don't tell
// the coefficients apart.
const worstCondition = 1e10

func leastSquares(rows [][]float64, values []float64) (fitted, bool) {
	n, p := len(rows), len(rows[0])
	x := mat.NewDense(n, p, nil)
	for i, r := range rows {
		x.SetRow(i, r)
	}
	var xtx mat.SymDense
	xtx.SymOuterK(1, x.T())
	var chol mat.Cholesky
	if !chol.Factorize(&xtx) || chol.Cond() > worstCondition {
		return fitted{}, false
	}
	var solution, rhs mat.VecDense
	y := mat.NewVecDense(n, values)
	rhs.MulVec(x.T(), y)
	out := fitted{inverse: mat.NewSymDense(p, nil), residuals: make([]float64, n)}
	if chol.SolveVecTo(&solution, &rhs) != nil || chol.InverseTo(out.inverse) != nil {
		return fitted{}, false
	}
	out.solution = solution.RawVector().Data
	for i, r := range rows {
		out.residuals[i] = values[i]
		for j, c := range r {
			out.residuals[i] -= c * out.solution[j]
		}
		out.squares += out.residuals[i] * out.residuals[i]
	}
	return out, true
}
