#include "cli/commands/program/kept_memory.h"

#include <cstdlib>  // tells which library it is

#ifdef __GLIBC__
#include <malloc.h>
#endif

namespace assay::cli {

void keep_freed_memory() {
#ifdef __GLIBC__
    mallopt(M_MMAP_THRESHOLD, 32 << 20);  // the most that mallopt(3) takes
    mallopt(M_TRIM_THRESHOLD, 128 << 20);
#endif
}

}  // namespace assay::cli
