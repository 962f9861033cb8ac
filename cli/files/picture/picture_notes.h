// What a camera writes into its pictures beside the picture: place, time, serial numbers, small copies,
// sound. A photograph leaves the house without them. The picture itself is copied bit by bit.
#pragma once

#include <string>
#include <string_view>

#include "capture/fault.h"

namespace assay::cli {

/// The same picture without notes. JPEG (ITU-T T.81): of the application segments only JFIF, the colour
/// profile and Adobe's colour transform stay; comments, thumbnails and whatever follows the end of the image
/// go. PNG (ISO/IEC 15948): chunks of the picture and its colours stay. Which way up it is shown (tag 0x0112
/// of Exif, CIPA DC-008) is kept, as the only entry of a new block. Clean pictures come back unchanged.
/// Faults of kind bad_input_file: no JPEG or PNG, or one whose segments do not add up.
[[nodiscard]] capture::Result<std::string> without_notes(std::string_view picture);

}  // namespace assay::cli
