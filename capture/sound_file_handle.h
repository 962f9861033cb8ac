// libsndfile's handle, which the headers of readers and writers do not name.
#pragma once

#include <sndfile.h>

namespace assay::capture {

inline SNDFILE* as_file(void* file) {
    return static_cast<SNDFILE*>(file);
}

}  // namespace assay::capture
