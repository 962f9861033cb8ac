#include "cli/commands/new_file.h"

#include <system_error>

#include "cli/files/posix.h"

namespace assay::cli {

std::string toml_text(const std::string& text) {
    std::string out = "\"";
    for (const char letter : text) {
        if (letter == '"' || letter == '\\') out += '\\';
        out += static_cast<unsigned char>(letter) < 0x20 ? ' ' : letter;
    }
    return out + "\"";
}

capture::Result<void> write_new_file(const std::filesystem::path& file, const std::string& text,
                                     const Manner& manner) {
    if (file.empty()) {
        print_result(text);
        return {};
    }
    std::error_code error;
    if (std::filesystem::exists(file, error)) {
        return capture::fail(capture::FaultKind::bad_arguments, file.string() + ": is there already",
                             "choose another name, or move it away");
    }
    if (auto written = write_file_safely(file, text); !written) return written;
    say(manner, file.string() + " is written; read it through, it tells what to find out next");
    return {};
}

}  // namespace assay::cli
