package opinion

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"ohmgate/interlock/verify/model"
	"ohmgate/interlock/verify/search"
	"ohmgate/interlock/verify/table"
)

// onTables is a model without rules: its steps are looked up in our tables. What
// SPIN then takes is the search alone.
const onTables = `c_decl {
\#include "tables.h"
}
short row, column, move, edge;
active proctype scan() {
  do :: atomic {
    do :: c_expr { now.move + 1 < moves_end[now.column] - moves_at[now.column] } -> move++ :: break od;
    do :: c_expr { now.edge + 1 < edges_at[now.row * CLASSES + move_class[moves_at[now.column] + now.move] + 1] - edges_at[now.row * CLASSES + move_class[moves_at[now.column] + now.move]] } -> edge++ :: break od;
    c_code {
      { int m = moves_at[now.column] + now.move;
        int e = edges_at[now.row * CLASSES + move_class[m]] + now.edge;
        if (edge_bad[e]) uerror("a property is violated");
        now.row = edge_next[e]; now.column = move_next[m]; now.move = 0; now.edge = 0; }
    }
  } od
}
`

// move is one step of the channel as the rest sees it.
type move struct {
	Column uint32 // that follows
	Class  int    // of letters that are alike to the rest
}

// movesOf lists the steps of the channel from a column, each once.
func movesOf(p *search.Product, column uint32) []move {
	var list []move
	for _, e := range p.Channel.FromAll(column) {
		m := move{e.Next, p.Stem.Class[e.Letter]}
		if !slices.Contains(list, m) {
			list = append(list, m)
		}
	}
	return list
}

// tablesOf prints a product's tables as C.
func tablesOf(p *search.Product) string {
	var b strings.Builder
	array := func(name string, n int, value func(int) int) {
		fmt.Fprintf(&b, "static int %s[] = {", name)
		for i := range n {
			fmt.Fprintf(&b, "%d,", value(i))
		}
		b.WriteString("0};\n")
	}
	var at, end []int
	var moves []move
	for column := range p.Channel.States {
		at = append(at, len(moves))
		moves = append(moves, movesOf(p, uint32(column))...)
		end = append(end, len(moves))
	}
	var edgesAt []int
	var edges []table.StemEdge
	for row := range p.Stem.Rows {
		for class := range p.Stem.Classes {
			edgesAt = append(edgesAt, len(edges))
			edges = append(edges, p.Stem.From(row, class)...)
		}
	}
	edgesAt = append(edgesAt, len(edges))
	fmt.Fprintf(&b, "#define CLASSES %d\n", p.Stem.Classes)
	array("moves_at", len(at), func(i int) int { return at[i] })
	array("moves_end", len(end), func(i int) int { return end[i] })
	array("move_next", len(moves), func(i int) int { return int(moves[i].Column) })
	array("move_class", len(moves), func(i int) int { return moves[i].Class })
	array("edges_at", len(edgesAt), func(i int) int { return edgesAt[i] })
	array("edge_next", len(edges), func(i int) int { return int(edges[i].Next) })
	array("edge_bad", len(edges), func(i int) int { return int(edges[i].Bad) })
	return b.String()
}

// spinOnTables lets SPIN search our tables.
func spinOnTables(t testing.TB, p *search.Product) *Answer {
	t.Helper()
	directory := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(directory, "tables.h"), []byte(tablesOf(p)), 0o600))
	require.NoError(t, os.WriteFile(filepath.Join(directory, "scan.pml"), []byte(onTables), 0o600))
	for _, command := range [][]string{{"spin", "-a", "scan.pml"}, {"gcc", "-O3", "-w", "-DSAFETY", "-DNOREDUCE", "-DNOFAIR", "-o", "pan", "pan.c"}} {
		text, err := in(context.Background(), directory, command[0], command[1:]...)
		require.NoError(t, err, "%v: %s", command, text)
	}
	a := &Answer{Checker: "SPIN on our tables"}
	text, _ := a.search(context.Background(), directory, "./pan", "-c0", "-m4000000", "-w23")
	a.States, a.Steps = numberBefore(text, "states, stored"), numberBefore(text, "transitions (=")
	require.Contains(t, text, "errors: 0", tail(text))
	require.NotContains(t, text, "too small", tail(text))
	return a
}

// SPIN finds as many states in our tables as our engine does.
func TestSpinOnOurTables(t *testing.T) {
	need(t, "spin", "gcc")
	product, err := waitOf(t, charged(t, nil), model.Options{}).Search()
	require.NoError(t, err)
	require.Equal(t, product.States(), spinOnTables(t, product).States)
}
