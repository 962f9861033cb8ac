// What the program frees it soon wants again: recordings, matrices, transforms.
#pragma once

namespace assay::cli {

/// Has the allocator keep what is freed, up to 128 MiB, for the next one who asks, instead of giving it back
/// and clearing it anew, page by page. Once, before anything large is asked for. A fit of a driver takes 0.7
/// of its time so. Where the allocator is not glibc's nothing happens.
void keep_freed_memory();

}  // namespace assay::cli
