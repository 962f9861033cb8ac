// A drawing as data: panels above each other over one horizontal axis, with curves, bands of uncertainty,
// points, lines of limits and claims. All drawings of the certificate are made from it, so that axes, legend,
// readout and the mark of the simulated bench are the same on each.
#pragma once

#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "capture/fault.h"

namespace assay::cli {

struct PlotScale {
    std::string words{};  // "frequency"
    std::string unit{};   // "Hz"; empty for a bare number
    double from = 0.0;
    double to = 1.0;
    bool logarithmic = false;
    double step = 0.0;  // between ticks of a linear scale; 0: chosen
};

enum class PlotLook {
    line,
    thin,  // beside a line of the same pen: phase
    dots,  // many measured points under the line of a model
    bars,
};

/// Points of the curve, none where y is NaN. `pen` chooses colour, dash and shape.
struct PlotCurve {
    std::string name{};  // a user's text will do
    std::string note{};  // behind the name in the legend
    std::string unit{};  // of y, for the readout: "% THD"
    std::vector<double> x{};
    std::vector<double> y{};
    std::size_t pen = 0;
    PlotLook look = PlotLook::line;
    bool second = false;  // against y2
    bool legend = false;
    bool read = true;
    double shift = 0.0;  // drawn so far to the right: bars side by side
    double width = 0.8;  // of bars
    /// Outline of the uncertainty; outlines are parted by a pair of NaN.
    std::vector<std::pair<double, double>> band{};
};

enum class PlotError { none, along_x, along_y };

/// Single points with the ends of their uncertainty.
struct PlotPoints {
    struct Row {
        double x = 0.0;
        double y = 0.0;
        double low = 0.0;
        double high = 0.0;
    };
    std::string legend{};  // empty: none
    std::vector<Row> rows{};
    PlotError error = PlotError::none;
    std::size_t pen = 0;
    int shape = 0;  // gnuplot's number; 0: the pen's own
    double size = 0.7;
    bool black = false;
    bool bare = false;  // the uncertainty alone, on bars
};

enum class PlotPlace { right, left, middle };

/// A straight line across the panel: a claim (strong), or a limit (thin, dashed).
struct PlotRule {
    double value = 0.0;
    std::string text{};
    bool upright = false;
    bool claim = false;
    bool high = false;                   // the text of an upright line: at its upper end
    PlotPlace place = PlotPlace::right;  // of the text of a level line
};

struct PlotPanel {
    PlotScale y{};
    std::optional<PlotScale> y2{};
    std::vector<PlotCurve> curves{};
    std::vector<PlotPoints> points{};
    std::vector<PlotRule> rules{};
    double share = 1.0;  // of the height
};

struct PlotSheet {
    PlotScale x{};
    std::vector<PlotPanel> panels{};
    int height = 340;  // pixels
    int width = 500;   // small: so the letters stay readable on a telephone
};

/// Outline around y - doubt and y + doubt; parts where a number is missing are left out.
std::vector<std::pair<double, double>> band_along_y(const std::vector<double>& x,
                                                    const std::vector<double>& y,
                                                    const std::vector<double>& doubt);

/// A linear scale that holds the values with a little room, in whole steps of its ticks.
PlotScale scale_around(const std::string& words, const std::string& unit, double lowest, double highest);
/// Logarithmic; its ends moved out to round numbers where those are near.
PlotScale frequency_scale(double lowest_hz, double highest_hz);

/// The SVG document with what a pointer reads (see readout.h). `name` keeps the ids of drawings apart. Fault:
/// gnuplot is not there or fails.
[[nodiscard]] capture::Result<std::string> draw_sheet(const PlotSheet& sheet, const std::string& name,
                                                      bool simulated);

}  // namespace assay::cli
