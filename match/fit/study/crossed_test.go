package main

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// crossed is one data set of testdata/lme4 (R 4.2.2, lme4 1.1-31).
type crossed struct {
	rows     [][]string // horn, mouthpiece, player, cents
	scalars  map[string]float64
	effects  map[[2]string]float64 // by factor and label
	spread   map[[2]string]float64 // conditional standard deviations
	order    [][2]string
	response []float64
}

func readCrossed(t *testing.T, name string) crossed {
	t.Helper()
	read := func(suffix string) [][]string {
		f, err := os.Open(filepath.Join("..", "..", "..", "testdata", "lme4", name+suffix+".csv"))
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		rows, err := csv.NewReader(f).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		return rows[1:]
	}
	number := func(s string) float64 {
		x, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		return x
	}
	c := crossed{rows: read(""), scalars: map[string]float64{}, effects: map[[2]string]float64{}, spread: map[[2]string]float64{}}
	for _, row := range read("-scalars") {
		c.scalars[row[0]] = number(row[1])
	}
	for _, row := range read("-effects") {
		key := [2]string{row[0], row[1]}
		c.order = append(c.order, key)
		c.effects[key], c.spread[key] = number(row[2]), number(row[3])
	}
	for _, row := range c.rows {
		c.response = append(c.response, number(row[3]))
	}
	return c
}

// The files agree with a dense solution of Henderson's equations
//
//	[n/s2        1'Z/s2      ] [b]   [1'y/s2]
//	[Z'1/s2   Z'Z/s2 + G^-1  ] [u] = [Z'y/s2]
//
// (Henderson 1950; Robinson 1991, "That BLUP is a good thing", Statistical
// Science 6, from memory) at lme4's variances: so they are what they say.
func TestLme4FilesSolveHendersonsEquations(t *testing.T) {
	for _, name := range []string{"small", "large"} {
		c := readCrossed(t, name)
		column := map[[2]string]int{}
		for i, key := range c.order {
			column[key] = i + 1
		}
		n, residual := 1+len(c.order), c.scalars["variance_residual"]
		lhs, rhs := mat.NewSymDense(n, nil), mat.NewVecDense(n, nil)
		for i, row := range c.rows {
			x := mat.NewVecDense(n, nil)
			x.SetVec(0, 1)
			for k, factor := range []string{"horn", "mouthpiece", "player"} {
				x.SetVec(column[[2]string{factor, row[k]}], 1)
			}
			lhs.SymRankOne(lhs, 1/residual, x)
			rhs.AddScaledVec(rhs, c.response[i]/residual, x)
		}
		for i, key := range c.order {
			lhs.SetSym(i+1, i+1, lhs.At(i+1, i+1)+1/c.scalars["variance_"+key[0]])
		}
		var chol mat.Cholesky
		if !chol.Factorize(lhs) {
			t.Fatal("the equations are singular")
		}
		var solution mat.VecDense
		if err := chol.SolveVecTo(&solution, rhs); err != nil {
			t.Fatal(err)
		}
		var inverse, conditional mat.SymDense
		if err := chol.InverseTo(&inverse); err != nil {
			t.Fatal(err)
		}
		if !chol.Factorize(lhs.SliceSym(1, n)) {
			t.Fatal("the equations without the intercept are singular")
		}
		if err := chol.InverseTo(&conditional); err != nil {
			t.Fatal(err)
		}
		close := func(what string, got, want float64) {
			if math.Abs(got-want) > 1e-8 {
				t.Errorf("%s: %s is %.12f by dense solution, %.12f by lme4", name, what, got, want)
			}
		}
		close("intercept", solution.AtVec(0), c.scalars["intercept"])
		close("its standard error", math.Sqrt(inverse.At(0, 0)), c.scalars["intercept_se"])
		for i, key := range c.order {
			close(key[0]+" "+key[1], solution.AtVec(i+1), c.effects[key])
			close("sd of "+key[0]+" "+key[1], math.Sqrt(conditional.At(i, i)), c.spread[key])
		}
	}
}
