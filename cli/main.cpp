#include "cli/commands/program.h"

int main(int argc, char** argv) {
    return assay::cli::run_program(argc, argv);
}
