// A folder of the test's own, gone at its end.
#pragma once

#include <gtest/gtest.h>
#include <stdlib.h>

#include <filesystem>
#include <fstream>
#include <sstream>
#include <string>

namespace assay::cli {

struct Folder {
    std::filesystem::path path{};

    Folder() {
        std::string name = testing::TempDir() + "assay-unit-XXXXXX";
        path = ::mkdtemp(name.data());
    }
    ~Folder() {
        std::error_code error;
        std::filesystem::remove_all(path, error);
    }
    Folder(const Folder&) = delete;
    Folder& operator=(const Folder&) = delete;

    void write(const std::string& file, const std::string& text) const {
        std::filesystem::create_directories((path / file).parent_path());
        std::ofstream(path / file, std::ios::binary) << text;
    }
    std::string read(const std::string& file) const {
        std::ostringstream text;
        text << std::ifstream(path / file, std::ios::binary).rdbuf();
        return text.str();
    }
};

}  // namespace assay::cli
