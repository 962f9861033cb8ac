// The page on paper and as a picture, by other programs: WeasyPrint makes the PDF, pdftoppm the PNG.
#pragma once

#include <filesystem>
#include <string>

#include "capture/fault.h"

namespace assay::cli {

/// The PDF of a page that needs no other file. A fault of kind bad_arguments says that WeasyPrint is not
/// installed, and names the package.
[[nodiscard]] capture::Result<std::string> pdf_of_page(const std::string& html);

/// The first page of a PDF file as PNG, 130 dots an inch. Faults as above.
[[nodiscard]] capture::Result<std::string> picture_of_first_page(const std::filesystem::path& pdf);

}  // namespace assay::cli
