package architecture

import (
	"go/ast"
	"go/token"
	"go/types"
)

// A variable of a package would be a memory beside the state that Step is given,
// so the logic has none that can change. What stands at the top of a file there is
// a table: not exported, made of nothing but numbers, texts, arrays and structs (a
// copy of such a value shares nothing with it), and no line changes it, slices it,
// takes its address or calls a method on it that could.

// notConstant says why the declaration of a variable makes it no such table.
func notConstant(v *types.Var) string {
	switch {
	case v.Exported():
		return v.Name() + " can be changed from outside; a function hands out a copy"
	case !plain(v.Type()):
		return v.Name() + " is no plain data (numbers, texts, arrays and structs of them): who holds a part of it could change it"
	}
	return ""
}

// plain says whether two copies of such a value can share nothing.
func plain(t types.Type) bool {
	switch t := t.Underlying().(type) {
	case *types.Basic:
		return t.Kind() != types.UnsafePointer
	case *types.Array:
		return plain(t.Elem())
	case *types.Struct:
		for f := range t.Fields() {
			if !plain(f.Type()) {
				return false
			}
		}
		return true
	}
	return false
}

// writes calls say for every place of one file where a table is changed, or where
// something is handed out through which it could be.
func (r *pureRoom) writes(file *ast.File, say func(n ast.Node, text string)) {
	changed := func(places ...ast.Expr) {
		for _, place := range places {
			if v := r.table(place); v != nil {
				say(place, v.Name()+" is changed; what the logic remembers is in its state")
			}
		}
	}
	handed := func(place ast.Expr) {
		if v := r.table(place); v != nil {
			say(place, v.Name()+" is handed out; copy it first")
		}
	}
	ast.Inspect(file, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.AssignStmt:
			changed(n.Lhs...)
		case *ast.IncDecStmt:
			changed(n.X)
		case *ast.RangeStmt:
			changed(n.Key, n.Value)
		case *ast.UnaryExpr:
			if n.Op == token.AND {
				handed(n.X)
			}
		case *ast.SliceExpr:
			if !r.isText(n.X) { // a text cannot be changed through its parts
				handed(n.X)
			}
		case *ast.SelectorExpr:
			if s := r.info.Selections[n]; s != nil && s.Kind() == types.MethodVal && takesPointer(s) {
				handed(n.X)
			}
		}
		return true
	})
}

func (r *pureRoom) isText(e ast.Expr) bool {
	basic, ok := r.info.TypeOf(e).Underlying().(*types.Basic)
	return ok && basic.Info()&types.IsString != 0
}

// takesPointer says whether a method wants the address of what it is called on.
func takesPointer(s *types.Selection) bool {
	_, pointer := s.Obj().Type().(*types.Signature).Recv().Type().(*types.Pointer)
	return pointer
}

// table is the variable of the package in which a place lies: itself, an element
// or a field of it, to any depth.
func (r *pureRoom) table(place ast.Expr) *types.Var {
	if place == nil {
		return nil
	}
	switch place := place.(type) {
	case *ast.ParenExpr:
		return r.table(place.X)
	case *ast.IndexExpr:
		return r.table(place.X)
	case *ast.SelectorExpr:
		return r.table(place.X)
	case *ast.Ident:
		if v, ok := r.info.Uses[place].(*types.Var); ok && v.Parent() == r.pkg.Scope() {
			return v
		}
	}
	return nil
}
