// Drawings by gnuplot, as SVG. The script comes from this program only; texts of users are put into the
// finished drawing, escaped, in place of marks, so that gnuplot never reads them.
#pragma once

#include <string>
#include <vector>

#include "capture/fault.h"

namespace assay::cli {

/// Texts that a drawing shows. `mark` gives what stands for a text in the script (between single quotes),
/// about as wide as the text itself.
class PlotTexts {
  public:
    std::string mark(const std::string& text);
    /// The drawing with every mark replaced by its text, escaped for XML.
    std::string put_into(const std::string& svg) const;

  private:
    std::vector<std::string> texts_{};
};

/// Runs the script (without terminal and output, which are set here) and gives the SVG document. `name` keeps
/// the ids of several drawings on one page apart; only its letters and digits are used. A fault names the
/// package to install when gnuplot is not there. The places of the axes stand in the attribute data-frame.
[[nodiscard]] capture::Result<std::string> draw(const std::string& script, const std::string& name, int width,
                                                int height);

/// Script that tells where the axes of the plot before it lie; `draw` reads it. (gnuplot itself goes on
/// calling a scale logarithmic that no longer is.)
std::string frame_report(bool x_logarithmic, bool y_logarithmic);

/// Script of the mark across the plots of a simulated bench, behind the curves of a panel of this height.
std::string simulated_mark(double height_px);

/// The drawing as a part of an HTML page: without XML head, name spaces, title and description.
std::string inline_svg(const std::string& document);

/// & < > " ' as entities.
std::string escaped(const std::string& text);

}  // namespace assay::cli
