package demo

import (
	"bytes"
	"embed"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"strconv"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	riggingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/rigging/v1"
)

//go:embed companies.json */*.json */*.csv
var files embed.FS

type company struct {
	ID     string   `json:"id"`
	Name   string   `json:"name"`
	People []person `json:"people"`
	Jobs   []string `json:"jobs"`
}

type person struct {
	Role string `json:"role"`
	Name string `json:"name"`
}

// jobData is one file of a job. The proto parts are in the JSON mapping of protobuf.
type jobData struct {
	Job     json.RawMessage `json:"job"`
	Rough   json.RawMessage `json:"rough"`
	Note    string          `json:"note"`
	Entries []entryLine     `json:"entries"`

	job   *framesv1.Job
	rough *framesv1.RoughFrame
}

// entryLine is what stands in a job's file for one entry or for several that are alike.
type entryLine struct {
	ID      string `json:"id"`
	Kind    string `json:"kind"`
	DaysAgo int    `json:"daysAgo"`
	// Clock is the time of the day on the site, such as 07:40.
	Clock string `json:"clock"`
	// Pieces are marks, or "assemblies", "loose", "last-loose", "moves 1-3".
	Pieces []string `json:"pieces"`
	// Assemblies are places in the frame's list, from 1; one entry each.
	Assemblies []int `json:"assemblies"`
	// Moves are the first and the last move; one entry each, EveryMinutes apart.
	Moves        []int  `json:"moves"`
	EveryMinutes int    `json:"everyMinutes"`
	Cause        string `json:"cause"`
	DelayMinutes int32  `json:"delayMinutes"`
	Note         string `json:"note"`
	Corrects     string `json:"corrects"`
}

func readCompanies() ([]company, error) {
	var doc struct {
		Companies []company `json:"companies"`
	}
	return doc.Companies, readJSON("companies.json", &doc)
}

func readJob(company, name string) (*jobData, error) {
	file := company + "/" + name + ".json"
	d := &jobData{job: &framesv1.Job{}, rough: &framesv1.RoughFrame{}}
	if err := readJSON(file, d); err != nil {
		return nil, err
	}
	if err := protojson.Unmarshal(d.Job, d.job); err != nil {
		return nil, fmt.Errorf("demo: %s: job: %w", file, err)
	}
	if err := protojson.Unmarshal(d.Rough, d.rough); err != nil {
		return nil, fmt.Errorf("demo: %s: rough: %w", file, err)
	}
	return d, nil
}

// readCranes reads the cranes of a company. In their file "chart" names a CSV file beside it.
func readCranes(company string) ([]*riggingv1.Crane, error) {
	var raw []map[string]any
	if err := readJSON(company+"/cranes.json", &raw); err != nil {
		return nil, err
	}
	cranes := make([]*riggingv1.Crane, len(raw))
	for i, fields := range raw {
		chart := fmt.Sprint(fields["chart"])
		delete(fields, "chart")
		text, err := json.Marshal(fields)
		if err != nil {
			return nil, err
		}
		cranes[i] = &riggingv1.Crane{}
		if err := protojson.Unmarshal(text, cranes[i]); err != nil {
			return nil, fmt.Errorf("demo: crane of %s: %w", company, err)
		}
		err = readCSV(company+"/"+chart, func(r record) {
			cranes[i].Chart = append(cranes[i].Chart, &riggingv1.ChartRow{
				BoomLengthMm: r.number("boom_length_mm"), RadiusMm: r.number("radius_mm"), RatedKg: r.number("rated_kg"),
			})
		})
		if err != nil {
			return nil, err
		}
	}
	return cranes, nil
}

func readGear(company string) ([]*riggingv1.Gear, error) {
	var gear []*riggingv1.Gear
	err := readCSV(company+"/gear.csv", func(r record) {
		gear = append(gear, &riggingv1.Gear{
			Id: r.text("id"), Kind: riggingv1.GearKind(riggingv1.GearKind_value[r.text("kind")]), Name: r.text("name"),
			Count: int32(r.number("count")), LengthMm: r.number("length_mm"),
			RatedVerticalKg: r.number("rated_vertical_kg"), RatedChokerKg: r.number("rated_choker_kg"),
			RatedBasketKg: r.number("rated_basket_kg"), MassKg: r.number("mass_kg"),
		})
	})
	return gear, err
}

func readJSON(file string, into any) error {
	text, err := files.ReadFile(file)
	if err != nil {
		return fmt.Errorf("demo: %w", err)
	}
	decoder := json.NewDecoder(bytes.NewReader(text))
	decoder.DisallowUnknownFields()
	if err := decoder.Decode(into); err != nil {
		return fmt.Errorf("demo: %s: %w", file, err)
	}
	return nil
}

func readProto(file string, into proto.Message) error {
	text, err := files.ReadFile(file)
	if err != nil {
		return fmt.Errorf("demo: %w", err)
	}
	if err := protojson.Unmarshal(text, into); err != nil {
		return fmt.Errorf("demo: %s: %w", file, err)
	}
	return nil
}

// record is a row of a CSV file whose first row has the names of the columns. The first
// fault of a row is kept in fault.
type record struct {
	columns map[string]int
	cells   []string
	fault   *error
}

func (r record) text(column string) string {
	i, ok := r.columns[column]
	if !ok {
		*r.fault = fmt.Errorf("there is no column %s", column)
		return ""
	}
	return r.cells[i]
}

func (r record) number(column string) float64 {
	v, err := strconv.ParseFloat(r.text(column), 64)
	if err != nil && *r.fault == nil {
		*r.fault = fmt.Errorf("%s: %w", column, err)
	}
	return v
}

func readCSV(file string, each func(record)) error {
	f, err := files.Open(file)
	if err != nil {
		return fmt.Errorf("demo: %w", err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		return fmt.Errorf("demo: %s: %w", file, err)
	}
	if len(rows) == 0 {
		return fmt.Errorf("demo: %s has no head row", file)
	}
	columns := map[string]int{}
	for i, name := range rows[0] {
		columns[name] = i
	}
	for i, cells := range rows[1:] {
		var fault error
		each(record{columns: columns, cells: cells, fault: &fault})
		if fault != nil {
			return fmt.Errorf("demo: %s row %d: %w", file, i+2, fault)
		}
	}
	return nil
}
