// How wide a text is in a drawing's font, nearly enough to find room for it.
#pragma once

#include <string>

namespace assay::cli {

/// Pixels at 14 pixels' height in a plain sans-serif; rather too many than too few.
double text_width_px(const std::string& text);

/// The text made visible and cut, with an ellipsis, to so many pixels.
std::string text_within(const std::string& text, double most_px);

}  // namespace assay::cli
