#include "cli/commands/session/session_place.h"

#include "cli/files/plain_text.h"

namespace assay::cli {

capture::Result<SessionPlace> open_session_place(const std::filesystem::path& path) {
    std::error_code error;
    SessionPlace place;
    if (std::filesystem::is_directory(path, error)) {
        place.folder = path;
        return place;
    }
    if (!std::filesystem::is_regular_file(path, error)) {
        return capture::fail(capture::FaultKind::bad_input_file,
                             visible_text(path.string(), 200) + ": there is no such session",
                             "name a session folder or a bundle (assay-NUMBER.tar)");
    }
    auto temporary = make_temporary_folder();
    if (!temporary) return tl::unexpected(temporary.error());
    if (const auto done = unpack_bundle(path, temporary->path); !done) return tl::unexpected(done.error());
    place.folder = temporary->path;
    place.unpacked.emplace(std::move(*temporary));
    return place;
}

}  // namespace assay::cli
