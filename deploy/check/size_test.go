package check

import "testing"

const (
	longestFunction = 120
	longestFile     = 600
	// All but one in a hundred functions are at most this long.
	usualFunction = 80
	longestMain   = 60
)

func TestSizes(t *testing.T) {
	t.Parallel()
	files, err := handWritten("../..")
	if err != nil {
		t.Fatal(err)
	}
	functions, long := 0, 0
	for _, f := range files {
		if f.lines > longestFile {
			t.Errorf("%s has %d lines, more than %d: part of it is a file of its own", f.path, f.lines, longestFile)
		}
		if f.path == "deploy/pikepole/main.go" && f.lines > longestMain {
			t.Errorf("%s has %d lines, more than %d", f.path, f.lines, longestMain)
		}
		for _, fn := range f.functions {
			functions++
			if fn.lines > usualFunction {
				long++
				t.Logf("%s:%d %s has %d lines", f.path, fn.line, fn.name, fn.lines)
			}
			if fn.lines > longestFunction {
				t.Errorf("%s:%d %s has %d lines, more than %d", f.path, fn.line, fn.name, fn.lines, longestFunction)
			}
			if fn.name == "init" {
				t.Errorf("%s:%d: an init function: nobody calls it, so nobody sees it", f.path, fn.line)
			}
		}
	}
	if functions == 0 {
		t.Fatal("no functions were found: the walk is wrong")
	}
	if long*100 > functions {
		t.Errorf("%d of %d functions have more than %d lines, more than one in a hundred", long, functions, usualFunction)
	}
}
