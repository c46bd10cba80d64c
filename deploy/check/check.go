// Package check has the tests that hold the shape of the code: how long functions and files
// may be, and who may know whom.
package check

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"strings"
)

// Module is the path of the module.
const Module = "github.com/pikepole/pikepole"

// file is one hand-written Go file.
type file struct {
	// path is relative to the root, with forward slashes.
	path      string
	lines     int
	functions []function
}

type function struct {
	name        string
	line, lines int
}

// handWritten parses every Go file below root that people write.
func handWritten(root string) ([]file, error) {
	var files []file
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		relative, err := filepath.Rel(root, path)
		if err != nil {
			return err
		}
		relative = filepath.ToSlash(relative)
		if d.IsDir() {
			if relative == "proto/gen" || relative == "gateway/internal/gen" || (relative != "." && strings.HasPrefix(d.Name(), ".")) {
				return fs.SkipDir
			}
			return nil
		}
		if !strings.HasSuffix(path, ".go") {
			return nil
		}
		f, err := parse(path)
		f.path = relative
		files = append(files, f)
		return err
	})
	return files, err
}

func parse(path string) (file, error) {
	set := token.NewFileSet()
	tree, err := parser.ParseFile(set, path, nil, parser.SkipObjectResolution)
	if err != nil {
		return file{}, err
	}
	f := file{lines: set.File(tree.Pos()).LineCount()}
	for _, d := range tree.Decls {
		if fn, ok := d.(*ast.FuncDecl); ok && fn.Body != nil {
			first, last := set.Position(fn.Pos()).Line, set.Position(fn.End()).Line
			f.functions = append(f.functions, function{name: fn.Name.Name, line: first, lines: last - first + 1})
		}
	}
	return f, nil
}

// rule is one wall: what some packages may not know.
type rule struct {
	name string
	// holds says whether the rule speaks about the package.
	holds func(pkg string) bool
	// allows says whether the package may depend on dep.
	allows func(pkg, dep string) bool
}

// broken lists what breaks the rules; deps has each package's dependencies, direct and indirect.
func broken(rules []rule, deps map[string][]string) []string {
	var found []string
	for pkg, all := range deps {
		for _, r := range rules {
			if !r.holds(pkg) {
				continue
			}
			for _, dep := range all {
				if !r.allows(pkg, dep) {
					found = append(found, fmt.Sprintf("%s: %s knows %s", r.name, pkg, dep))
				}
			}
		}
	}
	return found
}

// under says whether a package is one of the folders of the module, or below one.
func under(pkg string, folders ...string) bool {
	for _, f := range folders {
		full := Module + "/" + f
		if pkg == full || strings.HasPrefix(pkg, full+"/") {
			return true
		}
	}
	return false
}

// ours says whether a package belongs to the module.
func ours(pkg string) bool { return pkg == Module || strings.HasPrefix(pkg, Module+"/") }
