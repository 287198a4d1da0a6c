package site

// Shape is what a node of a strict YAML file is.
type Shape = shape

// Shapes of nodes.
const (
	Nothing = nothing // no value, or null
	Scalar  = scalar
	Mapping = mapping
	List    = list
)

// Node is one value of a strict YAML file, freed from the library's types, for
// other files that are read as strictly as the site file.
type Node struct {
	Shape   Shape
	Text    string // scalar: unquoted
	At      Position
	Entries []Entry
	Items   []*Node
}

// Entry is one key of a mapping.
type Entry struct {
	Key   string
	At    Position
	Value *Node
}

// Document reads the bytes of a file into a tree; the name is for messages.
// Everything by which YAML could expand, recurse or guess is refused.
func Document(name string, data []byte) (*Node, Problems) {
	root, _, problems := load(name, data)
	if root == nil || len(problems) > 0 {
		return nil, problems.sorted()
	}
	return root.export(), nil
}

func (n *node) export() *Node {
	made := &Node{Shape: n.shape, Text: n.text, At: n.at}
	for _, e := range n.entries {
		made.Entries = append(made.Entries, Entry{e.key, e.at, e.value.export()})
	}
	for _, item := range n.items {
		made.Items = append(made.Items, item.export())
	}
	return made
}

// Sorted is the list in the order of the file, without doubles.
func (p Problems) Sorted() Problems { return p.sorted() }

// Nearest is the word of a list that was probably meant; empty if none is.
func Nearest(word string, list []string) string { return nearest(word, list) }

// Hash names the bytes of a file in every record: SHA-256, hex.
func Hash(data []byte) string { return hash(data) }
