#include "cli/commands/program/kept_memory.h"
#include "cli/commands/program/program.h"

int main(int argc, char** argv) {
    assay::cli::keep_freed_memory();
    return assay::cli::run_program(argc, argv);
}
