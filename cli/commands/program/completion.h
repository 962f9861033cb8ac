// What the shell completes, from the same definition as --help.
#pragma once

#include <string>

namespace CLI {
class App;
}

namespace assay::cli {

/// A script for bash-completion: commands, their options, the words that an option takes; else names of
/// files.
std::string bash_completion(const CLI::App& app);

}  // namespace assay::cli
