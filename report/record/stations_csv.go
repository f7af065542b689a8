package record

import (
	"encoding/csv"
	"io"
	"strconv"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/heading"
	"quietmount/report/answer"
	"quietmount/report/say"
	"quietmount/survey/evaluate"
	"quietmount/survey/rank"
)

// writeStationsCSV writes one row per station, as RFC 4180 has it, with decimal
// points. A field is empty where nothing was measured.
func writeStationsCSV(w io.Writer, f *evaluate.Findings) error {
	out := csv.NewWriter(w)
	out.UseCRLF = true
	_ = out.Write([]string{ // Flush reports
		"station", "x_mm", "y_mm", "z_mm", "captures",
		"steady_x_ut", "steady_y_ut", "steady_z_ut", "steady_heading_error_deg", "steady_heading_error_upper95_deg",
		"shifting_x_ut", "shifting_y_ut", "shifting_z_ut", "shifting_heading_error_deg", "shifting_heading_error_upper95_deg",
		"magnitude_difference_ut",
	})
	for _, s := range f.Stations {
		row := append([]string{s.Station.Name}, numbers(s.Station.At.X, s.Station.At.Y, s.Station.At.Z)...)
		row = append(row, strconv.Itoa(s.Captures))
		a := answer.StationOf(s)
		row = append(append(row, estimateCells(s.Steady)...), errorCells(a.SteadyHeadingError)...)
		row = append(append(row, estimateCells(s.Shifting)...), errorCells(a.ShiftingHeadingError)...)
		difference := ""
		if s.MagnitudeDifference != nil {
			difference = cell(*s.MagnitudeDifference)
		}
		_ = out.Write(append(row, difference))
	}
	out.Flush()
	return out.Error()
}

// writeSpotsCSV writes one row per ranked spot, as writeStationsCSV does.
func writeSpotsCSV(w io.Writer, r *rank.Ranking) error {
	out := csv.NewWriter(w)
	out.UseCRLF = true
	_ = out.Write([]string{ // Flush reports
		"rank", "x_mm", "y_mm", "z_mm", "height_mm", "nearest_station",
		"shifting_heading_error_deg", "shifting_heading_error_upper95_deg", "steady_heading_error_deg", "steady_heading_error_upper95_deg",
		"steady_ut", "steady_upper95_ut", "placement_tolerance_mm", "cable_mm", "cg_x_mm", "cg_y_mm", "extrapolation_factor",
		"within_budget", "interpolated", "not_told_from_best", "place", "level_heading_error_deg", "level_heading_error_upper95_deg",
	})
	for _, s := range r.Spots {
		a := answer.SpotOf(s)
		row := append([]string{strconv.Itoa(s.Rank)}, append(numbers(a.Xmm, a.Ymm, a.Zmm, a.HeightMM), s.NearestStation)...)
		row = append(append(row, errorCells(a.Shifting)...), errorCells(a.Steady)...)
		steady := []string{"", ""}
		if a.SteadyUT != nil {
			steady = numbers(a.SteadyUT.Estimate, a.SteadyUT.Upper95)
		}
		row = append(row, steady...)
		for _, v := range []*float64{a.PlacementToleranceMM, a.CableMM, a.CGXMM, a.CGYMM, a.ExtrapolationFactor} {
			if v == nil {
				row = append(row, "")
				continue
			}
			row = append(row, cell(*v))
		}
		for _, yes := range []bool{a.WithinBudget, a.Interpolated, a.NotToldFromBest} {
			row = append(row, strconv.FormatBool(yes))
		}
		_ = out.Write(append(append(row, a.Place), errorCells(a.Level)...))
	}
	out.Flush()
	return out.Error()
}

func cell(v float64) string { return strconv.FormatFloat(say.Tidy(v), 'g', 7, 64) }

func numbers(vs ...float64) []string {
	out := make([]string, len(vs))
	for i, v := range vs {
		out[i] = cell(v)
	}
	return out
}

func estimateCells(e *evaluate.Estimate) []string {
	if e == nil {
		return []string{"", "", ""}
	}
	v := r3.Vec(e.Mean)
	return numbers(v.X, v.Y, v.Z)
}

func errorCells(e *heading.Error) []string {
	if e == nil {
		return []string{"", ""}
	}
	return numbers(e.Estimate, e.Upper95)
}
