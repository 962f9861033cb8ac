#include <string_view>

#include "cli/commands/commands.h"

namespace assay::cli {

extern const std::string_view session_schema;  // cli/files/session/session.schema.json

int run_schema() {
    print_result(std::string(session_schema));
    return exit_done;
}

}  // namespace assay::cli
