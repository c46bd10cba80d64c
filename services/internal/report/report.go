// Package report holds a table that is written once and comes out as CSV and as HTML: columns with
// their heads and units, rows of typed cells. It knows nothing of what the table is about.
package report

// Align says to which side the cells of a column are set.
type Align int

// The alignments of a column. The zero value sets text to the left and numbers to the right.
const (
	AlignAuto Align = iota
	AlignLeft
	AlignRight
	AlignCenter
)

// Exact, as the Decimals of a column, writes as many digits as it takes to read the same number back.
const Exact = -1

// Column describes one column of a table.
type Column struct {
	// Head is what stands over the column, without its unit.
	Head string
	// Unit is the unit of every number in the column, such as "kg"; empty for none. A column of
	// lengths (Length) takes its unit from the table's option instead.
	Unit string
	// Align is the side to which cells are set.
	Align Align
	// Decimals is the fixed number of digits after the point, or Exact. Whole numbers have 0.
	Decimals int
	// Length says that the numbers are lengths in millimetres, shown as the table's FeetInches says.
	Length bool
}

// Table is a table with everything that is needed to write it down.
type Table struct {
	// Title is the table's caption in HTML; CSV has no place for it.
	Title string
	// Columns are the columns from left to right.
	Columns []Column
	// Rows are the cells, row by row; a row that is too short ends in empty cells.
	Rows [][]Cell
	// Foot are rows of totals, set apart in HTML and last in CSV.
	Foot [][]Cell
	// Notes are sentences under the table in HTML, such as cautions; CSV has no place for them.
	Notes []string
	// FeetInches shows lengths as feet, inches and sixteenths; otherwise they are millimetres.
	FeetInches bool
}

// kind is what a cell holds.
type kind uint8

const (
	empty kind = iota
	text
	number
	length
	mark
)

// Cell is one typed cell of a table; the zero value is an empty cell.
type Cell struct {
	kind  kind
	text  string
	value float64
}

// Empty is a cell with nothing in it.
func Empty() Cell { return Cell{} }

// Text is a cell of words.
func Text(s string) Cell { return Cell{kind: text, text: s} }

// Number is a cell with a number in the unit of its column.
func Number(v float64) Cell { return Cell{kind: number, value: v} }

// Whole is a cell with a whole number.
func Whole[T int | int32 | int64](n T) Cell { return Cell{kind: number, value: float64(n)} }

// Length is a cell with a length in millimetres.
func Length(mm float64) Cell { return Cell{kind: length, value: mm} }

// Mark is a cell with the mark of a stick. In HTML its row gets the mark as its id, so that the
// sticks of a drawing can link to it.
func Mark(s string) Cell { return Cell{kind: mark, text: s} }

// cell gives the cell of a row at a column, empty beyond the row's end.
func cell(row []Cell, column int) Cell {
	if column < len(row) {
		return row[column]
	}
	return Cell{}
}
