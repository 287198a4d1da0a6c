package trace

import "errors"

// Discarder is a Writer that can throw away what it wrote, for a run that broke.
type Discarder interface{ Discard() }

// Group is several writers as one.
type Group []Writer

// Begin begins all.
func (g Group) Begin(h *Header) error {
	for _, w := range g {
		if err := w.Begin(h); err != nil {
			return err
		}
	}
	return nil
}

// Write writes to all, and stops at the first that cannot.
func (g Group) Write(r *Row) error {
	for _, w := range g {
		if err := w.Write(r); err != nil {
			return err
		}
	}
	return nil
}

// Close closes all, whatever happens to one of them.
func (g Group) Close() error {
	var all []error
	for _, w := range g {
		all = append(all, w.Close())
	}
	return errors.Join(all...)
}

// Discard throws everything away instead of Close.
func (g Group) Discard() {
	for _, w := range g {
		if d, ok := w.(Discarder); ok {
			d.Discard()
		}
	}
}
