// gnuplot's SVG written out plainly: point shapes in place of references to them, colours in place of
// "currentColor", no ids. So several drawings live on one page, and simple renderers show them.
#pragma once

#include <string>

namespace assay::cli {

/// Every `from` in the text becomes `to`.
void replace_all(std::string& text, const std::string& from, const std::string& to);

/// Expects what gnuplot's svg terminal writes; texts of users must not be in it yet.
std::string plain_svg(const std::string& drawing);

}  // namespace assay::cli
