# What `cmake --install` and the Debian package bring: the program with its manual page and completion, its documents,
# and the analysis library for other programs (find_package(assay), target assay::analysis).
include(CMakePackageConfigHelpers)

set(made ${CMAKE_BINARY_DIR}/installed)
file(MAKE_DIRECTORY ${made})
add_custom_command(OUTPUT ${made}/assay.1 ${made}/assay
  COMMAND assay manual > ${made}/assay.1
  COMMAND assay completion > ${made}/assay
  DEPENDS assay COMMENT "Manual page and completion" VERBATIM)
add_custom_target(texts ALL DEPENDS ${made}/assay.1 ${made}/assay)

install(TARGETS assay COMPONENT program)
install(FILES ${made}/assay.1 DESTINATION ${CMAKE_INSTALL_MANDIR}/man1 COMPONENT program)
install(FILES ${made}/assay DESTINATION ${CMAKE_INSTALL_DATADIR}/bash-completion/completions COMPONENT program)
install(FILES README.md analysis/METHOD.md capture/CAUTIONS.md DESTINATION ${CMAKE_INSTALL_DOCDIR}
  COMPONENT program)
install(FILES LICENSE DESTINATION ${CMAKE_INSTALL_DOCDIR} RENAME copyright COMPONENT program)

set_target_properties(assay_analysis PROPERTIES EXPORT_NAME analysis)
install(TARGETS assay_analysis EXPORT assay-targets COMPONENT library)
install(DIRECTORY analysis DESTINATION ${CMAKE_INSTALL_INCLUDEDIR}/assay COMPONENT library FILES_MATCHING PATTERN "*.h")
set(config ${CMAKE_INSTALL_LIBDIR}/cmake/assay)
install(EXPORT assay-targets NAMESPACE assay:: DESTINATION ${config} COMPONENT library)
file(WRITE ${made}/assay-config.cmake "include(CMakeFindDependencyMacro)
find_dependency(Eigen3 3.4)
include(\${CMAKE_CURRENT_LIST_DIR}/assay-targets.cmake)
")
write_basic_package_version_file(${made}/assay-config-version.cmake COMPATIBILITY SameMinorVersion)
install(FILES ${made}/assay-config.cmake ${made}/assay-config-version.cmake DESTINATION ${config} COMPONENT library)

# The package holds the program; `cpack -G DEB` in the release build folder.
set(CPACK_GENERATOR DEB)
set(CPACK_PACKAGE_NAME assay)
set(CPACK_PACKAGE_CONTACT "the assay authors <assay@example.invalid>")
set(CPACK_PACKAGE_DESCRIPTION_SUMMARY "bench measurement of audio amplifiers and loudspeaker drivers")
set(CPACK_COMPONENTS_ALL program)
set(CPACK_DEB_COMPONENT_INSTALL ON)
set(CPACK_DEBIAN_PROGRAM_PACKAGE_NAME assay)
set(CPACK_DEBIAN_FILE_NAME DEB-DEFAULT)
set(CPACK_DEBIAN_PACKAGE_SHLIBDEPS ON)
set(CPACK_DEBIAN_PACKAGE_SECTION sound)
set(CPACK_STRIP_FILES ON)
# Pages need these; without them the program says which is missing and makes the rest.
set(CPACK_DEBIAN_PACKAGE_RECOMMENDS "gnuplot-nox, weasyprint, poppler-utils, fonts-liberation")
include(CPack)
