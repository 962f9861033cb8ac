#include "cli/files/curves/curve_tables.h"

#include <fmt/format.h>

#include <cmath>
#include <set>

#include "cli/files/plain_text.h"
#include "cli/files/posix.h"
#include "cli/files/utf8.h"

namespace assay::cli {
namespace {

std::string field(const std::string& text) {
    if (text.find_first_of(",\"\r\n") == std::string::npos) return text;
    std::string quoted = "\"";
    for (const char letter : text) {
        if (letter == '"') quoted += '"';
        quoted += letter;
    }
    return quoted + '"';
}

}  // namespace

std::string curve_table(const analysis::Curve& curve, const TableForm& form) {
    std::string text = form.head;
    for (std::size_t i = 0; i < curve.columns.size(); ++i) {
        text += (i == 0 ? "" : form.separator) + field(curve.columns[i].name);
    }
    text += form.line_end;
    const std::size_t rows = curve.columns.empty() ? 0 : curve.columns.front().values.size();
    for (std::size_t row = 0; row < rows; ++row) {
        for (std::size_t i = 0; i < curve.columns.size(); ++i) {
            if (i > 0) text += form.separator;
            const double value = curve.columns[i].values[row];
            text += std::isnan(value) ? form.no_number : fmt::format("{}", value);
        }
        text += form.line_end;
    }
    return text;
}

capture::Result<std::vector<std::filesystem::path>> write_curve_tables(const Session& session,
                                                                       const std::filesystem::path& folder) {
    std::vector<std::filesystem::path> written;
    std::set<std::string> taken;  // names that differ in other letters alone must not end in one file
    capture::Result<void> last;
    const auto write = [&](const std::string& start, const Numbers& numbers) {
        for (const auto& [name, curve] : numbers.curves) {
            if (!last) return;
            std::error_code error;
            std::filesystem::create_directories(folder, error);
            const std::string plain = start + "." + plain_name(name);
            std::string own = plain;
            for (int number = 2; !taken.insert(lower_case(own)).second; ++number)
                own = fmt::format("{}-{}", plain, number);
            const std::filesystem::path file = folder / (own + ".csv");
            last = write_file_safely(file, curve_table(curve));
            written.push_back(file);
        }
    };
    for (const TestRecord& record : session.tests) {
        for (const auto& [load, numbers] : record.result.loads) {
            write(plain_name(record.id) + "." + plain_name(load), numbers);
        }
        write(plain_name(record.id), record.result.whole);
    }
    if (!last) return tl::unexpected(last.error());
    return written;
}

}  // namespace assay::cli
