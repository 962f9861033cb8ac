// The manual page of the program, from the same definition as --help.
#pragma once

#include <string>
#include <string_view>

namespace CLI {
class App;
}

namespace assay::cli {

/// The page for man(1), in roff.
std::string manual_page(const CLI::App& app, std::string_view version, std::string_view cautions);

}  // namespace assay::cli
