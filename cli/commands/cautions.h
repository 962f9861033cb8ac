// What a person must know before the first tone. One text for the command line, PLAY.txt and the help.
#pragma once

#include <string>

namespace assay::cli {

std::string cautions_text();

}  // namespace assay::cli
