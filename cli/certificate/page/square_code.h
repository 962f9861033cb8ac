// A QR code (ISO/IEC 18004, by libqrencode) as a drawing for the page.
#pragma once

#include <optional>
#include <string>

namespace assay::cli {

/// SVG for an HTML page, with the quiet zone of four modules; nothing if the text is too long for a code.
std::optional<std::string> square_code(const std::string& text);

}  // namespace assay::cli
